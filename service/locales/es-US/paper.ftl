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
paper-key-about = Cada hoja tiene sus propios números; búsquela por su código. En letra pequeña: respuestas equivocadas, cada una con aquello con lo que es coherente; una pista de dónde mirar, no un juicio.
paper-key-answer = { $answer } ({ $points })
paper-key-wrong = { $answer }: { $names }
