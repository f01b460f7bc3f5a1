# Las páginas del maestro o la maestra.

# Lo que comparten todas las páginas de una clase.
class-views = Vistas de esta clase
class-view-needs = Quién necesita qué
class-view-grades = Puntos y calificaciones
class-view-times = Horarios
class-back = Volver a la clase
class-back-to-grades = Volver a los puntos y calificaciones
class-pupil = Estudiante
class-pupil-label = Estudiante { $signs }
class-preview-user = vista previa, no cuenta
class-no-pupil = no es estudiante, no cuenta
class-left = dejó el curso

# Este cuestionario, en pocos datos.
class-this-quiz = Este cuestionario
class-pool = Colección de preguntas
class-questions-each = Preguntas por estudiante
class-attempts-each = Intentos por estudiante
class-open = Abierto para estudiantes
class-open-always = en cualquier momento
class-open-from = desde { $opens }
class-open-until = hasta { $closes }
class-open-between = desde { $opens } hasta { $closes }
class-not-yet-from = todavía no: desde { $opens }
class-not-yet-between = todavía no: desde { $opens } hasta { $closes }
class-over-until = ya no: hasta { $closes }
class-over-between = ya no: desde { $opens } hasta { $closes }
class-open-change = Cambiar
class-open-by-course = (lo fija su curso)
class-marking = Qué da puntos
class-marking-own = Un paso correcto a partir del valor anterior del propio estudiante da puntos.
class-marking-only = Solo el valor correcto da puntos, sea cual sea el valor anterior del estudiante.
class-marking-own-form-none = Un paso correcto a partir del valor anterior del propio estudiante da puntos. El valor correcto en otra forma: sin puntos.
class-marking-own-form-part = Un paso correcto a partir del valor anterior del propio estudiante da puntos. El valor correcto en otra forma: la mitad de los puntos.
class-marking-own-form-full = Un paso correcto a partir del valor anterior del propio estudiante da puntos. El valor correcto en otra forma: todos los puntos, con una nota.
class-marking-only-form-none = Solo el valor correcto da puntos, sea cual sea el valor anterior del estudiante. El valor correcto en otra forma: sin puntos.
class-marking-only-form-part = Solo el valor correcto da puntos, sea cual sea el valor anterior del estudiante. El valor correcto en otra forma: la mitad de los puntos.
class-marking-only-form-full = Solo el valor correcto da puntos, sea cual sea el valor anterior del estudiante. El valor correcto en otra forma: todos los puntos, con una nota.
class-handed-in = Estudiantes que entregaron
class-handed-in-listed = { $done } de { $all } estudiantes, { $started } han empezado
class-handed-in-started = { $done } de { $started } que empezaron
class-no-grades-taken = El curso no recibe calificaciones de este cuestionario, así que no se envía ninguna. Los puntos se ven aquí.
class-facts = Sobre este cuestionario

# Quién necesita qué.
class-needs = Quién necesita qué
class-needs-none = Todavía no hay un error de comprensión que aparezca en varias respuestas de un estudiante. Una sola respuesta no basta para nombrarlo.
class-needs-empty = En cuanto los estudiantes entreguen, esta página dirá quién necesita qué. Vuelva a cargarla para ver las novedades.
class-needs-pupils = { $count ->
    [one] 1 estudiante
   *[other] { $count } estudiantes
  }
class-needs-evidence = { $hits } de { $shown } respuestas
class-needs-what = Respuestas consistentes con: { $what }.
class-needs-either = Respuestas consistentes con: { $one }; o con: { $other }.
class-needs-next = Qué hacer ahora
class-needs-board = { $count ->
    [one] Una pregunta para el pizarrón
   *[other] { $count } preguntas para el pizarrón
  }
class-needs-board-why = Muestran este error de comprensión, y ningún estudiante las está contestando ahora.
class-needs-board-none = En la colección no queda una pregunta libre que lo muestre.
class-needs-answer = Mostrar la respuesta
class-needs-answer-is = Respuesta: { $answer }

# Estudiantes por preguntas.
class-map = La clase de un vistazo
class-map-caption = El mejor intento de cada estudiante, pregunta por pregunta. Cada estudiante tiene sus propios números; las preguntas de una columna son del mismo tipo.
class-map-question = Pregunta { $number }
class-map-total = Puntos
class-map-open = trabajando
class-map-cell = { $points } de { $most }
class-map-table = Puntos de cada pregunta, con enlaces
class-map-links = Un nombre lleva al mejor intento del estudiante.
class-map-past = Saltar la tabla
class-map-right = correcta
class-map-own = correcta, según el valor anterior del estudiante
class-map-part = correcta en parte, o en otra forma
class-map-wrong = todavía no es correcta
class-map-blank = vacía
class-map-changed = puntos cambiados por usted

# La lista de la clase.
class-list = Lista de la clase
class-list-waiting = Todavía no empiezan: { $count }
class-list-none = Su curso no comparte la lista de la clase, así que los estudiantes aparecen aquí cuando abren el cuestionario.
class-list-read = Lista de la clase de su curso, leída { $time }.
class-list-stale = No se pudo leer otra vez la lista de la clase: { $problem }. Así estaba { $time }.
class-list-failed = No se pudo leer la lista de la clase de su curso: { $problem }. Los estudiantes aparecen aquí cuando abren el cuestionario.
class-list-soon = Se está leyendo la lista de la clase de su curso. Vuelva a cargar esta página en un momento.
class-list-again = Leer otra vez la lista de la clase

# Puntos y calificaciones.
class-grades-none = Ningún estudiante ha empezado
class-grades-none-why = En cuanto un estudiante abra el cuestionario en su curso, aparecerá aquí. Vuelva a cargar esta página para ver las novedades.
class-grades = Estudiantes, del mejor puntaje al menor
class-grades-best = Mejor
class-grades-attempts = Intentos
class-grades-gradebook = Calificación en el libro de calificaciones
class-grades-not-handed-in = todavía sin entregar
class-grades-points = { $points } de { $most }
class-grades-attempt = { $number }: { $points } de { $most }
class-grades-attempt-open = { $number }: abierto
class-grades-download = Todas las respuestas en una tabla (CSV)
class-grades-download-why = Una fila por paso, para una hoja de cálculo. Un texto que la hoja tomaría por una fórmula lleva un apóstrofo delante; los números simples, también los negativos, quedan como están.
class-send-again = Enviar otra vez
class-send-again-of = Enviar otra vez: { $pupil }
class-send-ours = Enviar la nuestra
class-send-ours-of = Enviar la nuestra: { $pupil }
class-send-ours-after-all = Enviar la nuestra de todos modos
class-send-ours-after-all-of = Enviar la nuestra de todos modos: { $pupil }
class-keep-theirs = Dejar la del libro
class-keep-theirs-of = Dejar la del libro: { $pupil }
class-more = Otro intento, o empezar de nuevo
class-more-of = Otro intento, o empezar de nuevo: { $pupil }
class-allow = Permitir un intento más
class-allow-of = Permitir un intento más: { $pupil }
class-allow-why = { $pupil } puede hacer { $allowed ->
    [one] 1 intento
   *[other] { $allowed } intentos
  } por ahora. Cuenta el mejor.
class-allowed-extra = { $extra ->
    [one] 1 intento más que los demás
   *[other] { $extra } intentos más que los demás
  }
class-reset-why = Todos los intentos de este estudiante se apartan, la calificación se retira y el estudiante puede empezar de nuevo. Los intentos quedan registrados.
class-reset = Empezar de nuevo con este estudiante
class-reset-of = Empezar de nuevo con { $pupil }

# Dónde está una calificación.
class-grade-nothing = nada que enviar todavía
class-grade-preview = no se envía (vista previa)
class-grade-not-sent = no se envía
class-grade-delivered = entregada
class-grade-begun = ha empezado
class-grade-reset = de nuevo: calificación retirada
class-grade-waiting = en espera
class-grade-begin-failed = no se pudo avisar del comienzo
class-grade-failed = no se pudo entregar
class-grade-held = detenida: el libro tiene otra calificación
class-grade-kept = no se envía: queda la del libro
class-grade-retried = Último intento: { $problem }. En espera desde { $since }; se intenta otra vez por sí sola { $next }.
class-grade-parked = { $problem }. Desde { $since }.
class-grade-ours = La nuestra: { $points } de { $most }
class-grade-sent = { $points } de { $most }
class-grade-missing = El libro no muestra ninguna calificación.
class-grade-shows = El libro muestra { $mark }.
class-grade-own = El libro tiene una calificación propia: { $mark }.

# El libro de calificaciones.
class-gradebook = El libro de calificaciones
class-gradebook-waiting = { $count ->
    [one] 1 mensaje en camino, desde { $since }.
   *[other] { $count } mensajes en camino, el primero desde { $since }.
  }
class-gradebook-parked = { $count ->
    [one] 1 mensaje que así no se puede entregar, desde { $since }.
   *[other] { $count } mensajes que así no se pueden entregar, el primero desde { $since }.
  }
class-gradebook-held = { $count ->
    [one] 1 mensaje detenido hasta que usted elija, desde { $since }.
   *[other] { $count } mensajes detenidos hasta que usted elija, el primero desde { $since }.
  }
class-gradebook-quiet = No hay nada en espera.
class-gradebook-send = Enviar otra vez las calificaciones no entregadas
class-gradebook-compare = Comparar ahora con el libro de calificaciones
class-gradebook-takes-none = El curso no recibe calificaciones de este cuestionario, así que no hay nada que comparar.
class-gradebook-unread = La plataforma no nos deja leer su libro de calificaciones: una calificación cambiada allí no se ve aquí, y una mejor posterior la reemplaza.
class-gradebook-failed = No se pudo comparar { $time }: { $problem }.
class-gradebook-same = Comparado { $time }: el libro muestra lo que se entregó.
class-gradebook-differs = { $count ->
    [one] Comparado { $time }: la calificación de 1 estudiante es distinta; véala arriba.
   *[other] Comparado { $time }: las calificaciones de { $count } estudiantes son distintas; véalas arriba.
  }

# Un intento.
class-attempt = Este intento
class-attempt-progress = Intento { $number }, entregado { $time }
class-attempt-points = { $points } de { $most } puntos
class-attempt-of = de { $most } puntos
class-attempt-answer = Respuesta:
class-points-changed = Cambiado por tu maestro o maestra, de { $before } a { $after } puntos: { $reason }
class-points-changed-by-you = Usted cambió los puntos de { $before } a { $after }: { $reason }
class-points = Cambiar los puntos
class-points-of = Cambiar los puntos de la pregunta { $question }, paso { $step }
class-points-new = Puntos, de 0 a { $most }
class-points-reason = Motivo
class-points-reason-hint = El estudiante lo lee junto a la respuesta.
class-points-save = Guardar los puntos nuevos
class-points-undo = Volver a nuestros puntos ({ $points })
class-points-not-so-many = los puntos deben ser un número entero de 0 a { $most }
class-points-no-reason = hace falta un motivo, de hasta { $most } letras; el estudiante lo lee
class-points-no-step = este intento no tiene ese paso
class-no-such-choice = la elección no es send_ours ni keep_theirs
class-no-pupil-named = el formulario no nombra a ningún estudiante
class-too-many-attempts = no se pueden permitir más de { $most } intentos a un estudiante

# Poner un cuestionario.
class-place = Poner un cuestionario en su curso
class-place-lead = Cada estudiante recibe sus propias preguntas de la colección que usted elija. Las calificaciones llegan solas a su libro de calificaciones.
class-place-no-column = Su curso no recibe desde esta página una columna para el libro de calificaciones. Los estudiantes pueden trabajar y usted ve sus puntos aquí; las calificaciones se envían solo si el curso hace una columna por su cuenta.
class-place-no-pool = Todavía no hay ninguna colección de preguntas
class-place-no-pool-why = Pida a quien cuida tenths en su escuela o distrito que cargue una colección. Luego abra otra vez esta página.
class-place-no-pool-back = Volver sin poner un cuestionario
class-place-nothing = Todavía no hay ninguna colección de preguntas, así que no se puso ningún cuestionario. Pregunte a quien cuida tenths.
class-place-quiz = Cuestionario { $number }
class-place-pool = Colección de preguntas
class-place-pool-questions = { $count ->
    [one] 1 pregunta
   *[other] { $count } preguntas
  }
class-place-pool-aligned = { $count ->
    [one] 1 pregunta, según { $codes }
   *[other] { $count } preguntas, según { $codes }
  }
class-place-pool-aligned-more = { $count ->
    [one] 1 pregunta, según { $codes } y { $more } más
   *[other] { $count } preguntas, según { $codes } y { $more } más
  }
class-place-runs = Cómo funciona el cuestionario
class-place-title = Título que ven los estudiantes
class-place-title-hint = Puede quedar vacío: se usa el título de la colección.
class-place-questions = Preguntas por estudiante
class-place-questions-hint = De 1 a { $most }, y no más de las que tiene la colección.
class-place-attempts = Intentos por estudiante
class-place-attempts-hint = De 1 a { $most }. Cada intento tiene números nuevos. Para el libro de calificaciones cuenta el mejor.
class-place-one = Una pregunta a la vez
class-place-one-hint = Sin esto, todas las preguntas están en una página.
class-place-more = Título, horarios y qué da puntos
class-place-more-hint = Puede quedar como está
class-place-when = Cuándo se puede contestar
class-place-when-hint = Lo que queda vacío no tiene límite. Su curso puede cambiar las fechas después; entonces valen las suyas. Al final, las respuestas guardadas se entregan solas, así que no se pierde nada.
class-place-zone = Zona horaria de todas las fechas y horas de esta página
class-place-follow = Un paso posterior cuenta si es correcto a partir del valor anterior del propio estudiante
class-place-follow-hint = Así un descuido cuesta una sola vez. Sin esto, cuenta solo el valor correcto.
class-place-released = Los estudiantes ven su calificación en el curso en cuanto llega
class-place-released-hint = Sin esto se pide al curso que guarde la calificación hasta que usted la muestre allí. El resultado en la página del cuestionario se ve siempre.
class-place-form = El valor correcto en otra forma que la pedida
class-place-form-hint = Por ejemplo 2.5 donde el dinero pide 2.50. Los estudiantes lo leen junto al espacio antes de contestar.
class-place-form-each = Lo que diga cada pregunta
class-place-form-none = Sin puntos
class-place-form-part = La mitad de los puntos
class-place-form-full = Todos los puntos, con una nota
class-place-leave-out = Dejar fuera este cuestionario
class-place-preview = Ver lo que reciben tres estudiantes
class-place-button = { $count ->
    [one] Poner este cuestionario
   *[other] Poner estos { $count } cuestionarios
  }
class-place-another = Agregar otro cuestionario
class-place-cancel = Volver sin poner nada
class-place-placed = Se pusieron { $count } cuestionarios.
class-place-choose-pool = Elija una colección de preguntas.
class-place-choose-zone = Elija una zona horaria de la lista.
class-place-of-quiz = Cuestionario { $number }: { $problem }
class-place-long-title = El título puede tener hasta { $most } letras.
class-place-past = El final ya pasó, así que ningún estudiante podría empezar.
class-place-bad-questions = El número de preguntas por estudiante debe ser un número entero de 1 a { $most }.
class-place-bad-attempts = El número de intentos por estudiante debe ser un número entero de 1 a { $most }.

# Lo que recibirían los estudiantes.
class-preview = Lo que recibirían tres estudiantes
class-preview-lead = Tres de las muchas versiones. Son parecidas en tipo y dificultad, con otros números. Los estudiantes no ven respuestas antes de entregar.
class-preview-pupil = Estudiante { $number }
class-preview-question = Pregunta { $number }
class-preview-answers = Respuestas
class-preview-change = Cambiar algo
class-preview-numbers = { $questions ->
    [one] 1 pregunta por estudiante, { $attempts ->
        [one] 1 intento
       *[other] { $attempts } intentos
      }, hasta { $points } puntos.
   *[other] { $questions } preguntas por estudiante, { $attempts ->
        [one] 1 intento
       *[other] { $attempts } intentos
      }, hasta { $points } puntos.
  }

# Cuándo está abierto un cuestionario.
class-times = Cuándo se puede contestar
class-times-hint = Lo que queda vacío no tiene límite. Al final, las respuestas guardadas se entregan solas; lo entregado queda entregado, también si usted abre el cuestionario otra vez.
class-times-zone = Zona horaria de estas horas
class-times-button = Cambiar los horarios
class-times-by-course = Su curso fija los horarios de este cuestionario; cámbielos allí.
class-times-available-from = Los estudiantes pueden abrirlo desde
class-times-available-until = Los estudiantes pueden abrirlo hasta
class-times-submission-from = Los estudiantes pueden empezar desde
class-times-submission-until = Los estudiantes pueden entregar hasta
class-times-bad = { $which ->
    [available-from] «Los estudiantes pueden abrirlo desde» debe ser una fecha con hora, como 2026-03-02 09:15.
    [available-until] «Los estudiantes pueden abrirlo hasta» debe ser una fecha con hora, como 2026-03-02 09:15.
    [submission-from] «Los estudiantes pueden empezar desde» debe ser una fecha con hora, como 2026-03-02 09:15.
   *[submission-until] «Los estudiantes pueden entregar hasta» debe ser una fecha con hora, como 2026-03-02 09:15.
  }
class-times-order = El final debe venir después del comienzo, también entre los dos periodos.
