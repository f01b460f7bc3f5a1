# The coordinator's pages: families, plans, pools, packages.

content-families = Familias de preguntas
content-families-found = { $count ->
    [one] Una familia
   *[other] { $count } familias
}
content-families-none = Ninguna familia corresponde a esta selección.
content-choose = Elegir
content-search = Mostrar
content-any = cualquiera
content-code = Código del currículo
content-level = Nivel de dificultad
content-column-family = Familia
content-column-codes = Alineada con
content-column-level = Niveles
content-column-holds = Contiene
content-holds-questions = { $count } preguntas
content-holds-numbers = números para { $count } preguntas como máximo
content-holds-bound = { $count } preguntas como máximo
content-name = Nombre en los planes
content-about = Sobre esta familia
content-samples = Ejemplos
content-samples-about = Cada alumno recibe otros números. Estos son tres ejemplos, con las respuestas plegadas.
content-more-samples = Otros ejemplos
content-sample = Ejemplo { $number }
content-question = Pregunta { $number }
content-answers = Respuestas, y con qué son coherentes las equivocadas
content-answer = { $prompt } { $answer }
content-wrong = { $answer }: respuestas coherentes con { $names }
content-pools = Bancos de preguntas
content-pools-loaded = Bancos que los docentes pueden colocar
content-pools-none = Todavía no hay ningún banco. Haga uno a partir de un plan.
content-column-pool = Banco
content-column-id = Identificador
content-column-questions = Preguntas
content-column-placed = Colocado
content-new-pool = Hacer un banco
content-plan-title = Título para los docentes
content-plan-language = Idioma de las preguntas
content-plan-section = Sección
content-choose-one = elegir
content-level-from = Dificultad desde
content-level-to = Dificultad hasta
content-plan-count = Preguntas en el banco
content-plan-count-hint = Se sacan y se prueban tantas preguntas distintas.
content-plan-pick = Preguntas por alumno
content-plan-pick-hint = Tantas recibe un alumno cuando todo el banco es una prueba.
content-plan-add-heading = Agregar una sección
content-plan-add = Agregar esta sección
content-plan-heading = El plan
content-plan-text = Plan como archivo (TOML)
content-plan-text-hint = Aquí aparecen las secciones que agrega. También puede pegar un archivo de plan, o guardar este texto como archivo.
content-plan-make = Hacerlo y mirar
content-plan-load = Cargarlo para los docentes
content-plan-made = Hecho y probado: { $questions } preguntas en { $sections ->
    [one] una sección
   *[other] { $sections } secciones
}. Todavía no está cargado.
content-plan-fault = Este plan no da ningún banco: { $problem }
content-fault-malformed = línea { $line }, columna { $column }: { $message }
content-fault-family = sección { $section }: no hay ninguna familia «{ $family }».
content-fault-code = sección { $section }: ninguna familia es para { $code }; las hay para { $known }
content-fault-none = sección { $section }: no hay preguntas así en { $locale }: { $asked }.
content-fault-too-few = sección { $section }: se piden { $wanted } preguntas ({ $asked }) y se encontraron estas distintas: { $families }.
content-fault-used-up = { $family } { $count }
content-fault-given-up = { $family } { $count }, y luego muchas seguidas de otros niveles
content-fault-draw = sección { $section }: no se pudo sacar una pregunta: { $message }
content-fault-id = «{ $id }» no sirve como id. Un id empieza con una letra, solo tiene letras, cifras y guiones, y no se repite.
content-fault-pick = la sección { $section } tiene { $items } preguntas, y a un alumno le tocarían { $pick }.
content-fault-empty = no tiene ninguna sección.
content-asked-family = familia «{ $family }»
content-asked-codes = código del currículo { $codes }
content-asked-level = nivel { $level }
content-asked-levels = niveles { $from } a { $to }
content-asked-kind = tipo de respuesta: { $kind }
content-plan-lacks = Una sección necesita un nombre y un código del currículo; la primera, también el título del banco.
content-plan-numbers = Indique los dos números de preguntas; un alumno no puede recibir más de las que hay en el banco.
content-plan-levels = La dificultad debe ir del nivel menor al mayor.
content-pool-in-use = Un banco con este identificador está colocado en cursos y tiene otras preguntas. Cambie el identificador en el plan.
content-sections = Secciones
content-spread = Las pruebas de { $count } preguntas se parecen en dificultad: su puntuación va de { $least } a { $greatest }.
content-export = Paquete para una plataforma de aprendizaje
content-export-about = Un paquete contiene todas las preguntas del banco con sus respuestas. Solo debería recibirlo quien prepara cursos.
content-export-as = Estándar y versión
content-export-templates = Preguntas que la propia plataforma varía, donde el estándar puede expresarlas
content-export-button = Hacer el paquete
content-exporting = Paquete de { $title }
content-no-format = Elija un estándar de la lista
content-too-many-jobs = Todavía hay diez trabajos suyos en curso. Espere a que termine uno
content-pool-file = El banco como archivo
content-examine = Probar un paquete
content-examine-heading = Un paquete antes de que lo cargue una plataforma
content-examine-about = Se abre el paquete y cada pregunta se ejecuta con respuestas correctas y equivocadas. No se guarda nada. Lo encontrado se dice en inglés.
content-examine-file = Paquete (.zip o .imscc, hasta 64 MB)
content-examine-button = Probarlo
content-examine-nothing = Elija primero un paquete.
content-examining = Probando { $name }
content-job = Cómo va
content-job-waits = Ha empezado.
content-job-percent = { $percent } % hecho.
content-job-again = Mirar otra vez
content-job-done = Hecho.
content-job-doubts = Hecho. Algo no se sostiene; abajo dice qué.
content-job-failed = No se logró. Abajo dice por qué, hasta donde se sabe.
content-job-file = Descargar { $name } ({ $bytes } bytes)
content-job-drop = Olvidarlo
content-jobs-heading = Lo que usted pidió
content-jobs-about = Los paquetes se hacen y se prueban en segundo plano. El resultado se conserva un día.
content-jobs-none = No hay nada en marcha, ni lo hubo en el último día.
content-jobs-column-what = Qué
content-jobs-column-when = Empezó
content-jobs-column-state = Cómo va
content-jobs-column-do = Qué hacer
content-jobs-all = Todo lo que está en marcha
content-job-cancel = Detener
content-job-cancel-label = Detener “{ $title }”
content-job-drop-label = Olvidar “{ $title }”
content-job-interrupted = Interrumpido: el servicio se detuvo mientras trabajaba en esto. Empiézalo otra vez, por favor.
content-job-cancelled = Usted lo detuvo.
content-job-failed-short = No se logró.
content-job-doubts-short = Hecho; algo no se sostiene.
content-plan-too-large = Este plan pide más de { $most } preguntas. Los bancos más grandes se hacen con el comando tenths pool.

content-kind-number = un número
content-kind-choice = una de varias opciones
content-kind-order = un orden
content-kind-words = un número en palabras
content-column-kinds = Respuestas
content-plan-kind = Tipo de respuesta
content-plan-kind-hint = Cada pregunta pide al menos una vez una respuesta de este tipo.
content-plan-look = ¿Cuántas hay?
content-plan-look-lacks = Elija primero un código del currículo.
content-plan-download = Guardarlo como archivo
content-plan-upload-heading = Un plan que ya tiene
content-plan-upload = Archivo del plan (.toml)
content-plan-upload-hint = Como lo toma el comando tenths pool, hasta 256 kB. No se hace nada antes de que lo haya visto arriba.
content-plan-upload-button = Abrirlo
content-plan-no-text = Este archivo no es un texto, así que no es un plan.
content-plan-read = { $title }: un plan con { $sections ->
    [one] una sección
   *[other] { $sections } secciones
}.
content-supply = Lo que hay para esta elección
content-supply-none = Ninguna familia tiene preguntas así en este idioma. Elija otro código o tipo.
content-supply-most = Hasta { $count } preguntas distintas. Un banco no tiene ninguna dos veces.
content-supply-about = Unas { $count } preguntas distintas de estos niveles. Un banco no tiene ninguna dos veces.
content-supply-sampled = Es una estimación: se sacaron algunas preguntas de cada familia para ver cuántas son de estos niveles.
content-column-of-levels = De estos niveles
content-of-levels = { $hits } de { $drawn } sacadas al azar
content-placed = Dónde está colocado
content-placed-nowhere = todavía en ninguna parte
content-placed-at = { $times ->
    [one] una vez
   *[other] { $times } veces
} en { $courses ->
    [one] un curso
   *[other] { $courses } cursos
} de { $issuer }
content-pools-page = Página { $page } de { $pages }
content-pools-earlier = Los bancos anteriores
content-pools-later = Más bancos
