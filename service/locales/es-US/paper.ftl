# Printed sheets and keys.

paper-name = Nombre
paper-date = Fecha
paper-code = Hoja { $code }
paper-margin = { $code }   { $title }
paper-page = página { $page } de { $pages }
paper-question = Pregunta { $number }
paper-points = { $count ->
    [one] { $count } punto
   *[other] { $count } puntos
}
paper-answer = Respuesta:
paper-in-words = Escribe el número con palabras, con su última posición: décimas, centésimas o milésimas.
paper-order = Escribe una letra en cada línea, en el orden que se pide.

paper-key-title = Clave: { $title }
paper-key-about = Cada hoja tiene sus propios números; búsquela por su código. En letra pequeña: qué más vale, y respuestas equivocadas, cada una con aquello con lo que es coherente; una pista de dónde mirar, no un juicio.
paper-key-interval = Vale todo valor de { $from } a { $to }.
paper-key-answer = { $answer } ({ $points })
paper-key-wrong = { $answer }: { $names }

# The teacher's pages for them.

paper-link = En papel: imprimir hojas, escribir respuestas
paper-heading = En papel: { $title }
paper-about = Imprima una hoja para cada alumno, cada una con sus propios números y un código. Después escriba las respuestas por código: se corrigen y califican como cualquier otro intento.
paper-class = Volver a la clase
paper-make = Preparar hojas
paper-for-class-about = { $pupils ->
    [one] Un alumno de su lista recibe una hoja con su nombre.
   *[other] Cada uno de los { $pupils } alumnos de su lista recibe una hoja con su nombre, salvo que ya tenga una en espera.
}
paper-for-class = Preparar hojas para la clase
paper-unnamed = Hojas sin nombre
paper-make-unnamed = Prepararlas
paper-count = Elija entre 1 y { $most } hojas.
paper-nobody = Cada alumno de la lista tiene ya una hoja en espera.
paper-print = Imprimir
paper-waiting = { $count ->
    [one] Una hoja espera a que se imprima o se escriba.
   *[other] { $count } hojas esperan a que se impriman o se escriban.
}
paper-squares = Cuadrícula para calcular
paper-two-sided = Para imprimir por las dos caras: cada hoja empieza en un papel nuevo
paper-workings = Cálculos en la clave
paper-size = Papel
paper-sheets-pdf = Hojas en PDF
paper-key-pdf = Clave en PDF
paper-browser = Hojas en el navegador
paper-print-how = Imprima esta página desde el menú de su navegador; cada hoja empieza en una página nueva.
paper-back = Volver a la lista de hojas
paper-enter = Escribir respuestas
paper-type-code = Código de la hoja
paper-open-sheet = Abrir la hoja
paper-type-in = Escribir { $code }
paper-typed = escrita: { $points } de { $maximum }
paper-list = Todas las hojas
paper-column-code = Código
paper-column-pupil = Alumno
paper-column-state = Respuestas
paper-no-pupil = aún sin nombre
paper-enter-heading = Hoja { $code }
paper-whose = ¿De quién es esta hoja?
paper-choose = elegir
paper-as-written = Escriba cada respuesta como está en la hoja; deje vacío lo que allí está vacío.
paper-hand-in = Corregir y entregar
paper-no-code = El código de una hoja tiene ocho letras y cifras, por ejemplo K7QD-M3XP.
paper-mistyped = Este código no puede ser correcto: un signo está mal, o dos cambiaron de lugar. Mire la hoja otra vez.
paper-other-quiz = Esta hoja es de otra prueba. Abra esa prueba en su curso para escribirla.
paper-unknown = Ninguna hoja de esta prueba tiene ese código.
paper-choose-pupil = Elija de quién es esta hoja.
paper-too-long = Una de las respuestas es demasiado larga. Acórtela.
paper-anothers = Esta hoja se escribió para otro alumno.
paper-open-attempt = Este alumno ha empezado la prueba en pantalla. Ese intento debe entregarse, o el trabajo del alumno reiniciarse, antes de escribir una hoja.
paper-used-up = Este alumno ha usado todos sus intentos. Permita otro en la página de la clase, o reinicie el trabajo del alumno.
