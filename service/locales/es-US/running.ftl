# The coordinator's pages: signing in, platforms, tokens, deliveries, use, audit.

running-pages = Páginas para la coordinación
running-page-overview = Resumen
running-page-families = Familias
running-page-pools = Bancos
running-page-examine = Probar
running-page-jobs = En marcha
running-page-platforms = Plataformas
running-page-tokens = Fichas
running-page-deliveries = Calificaciones
running-page-use = Uso
running-page-audit = Cambios
running-sign-in = Coordinación
running-sign-in-heading = Iniciar sesión
running-sign-in-token = Su ficha
running-sign-in-hint = Una ficha para la coordinación, hecha en estas páginas o por quien cuida del servicio.
running-sign-in-button = Iniciar sesión
running-sign-in-refused = Esta ficha no abre nada aquí. Puede haber vencido, o ser para otra cosa.
running-sign-out = Cerrar sesión
running-signed-in = Usted
running-signed-in-as = Ha iniciado sesión con la ficha { $token }. Lo que cambie se anota con ese nombre.
running-attention = Lo que necesita a alguien
running-attention-none = Nada en este momento.
running-need-parked = { $count ->
    [one] Una calificación no se pudo entregar
   *[other] { $count } calificaciones no se pudieron entregar
}
running-need-held = { $count ->
    [one] Una calificación espera a que su docente elija
   *[other] { $count } calificaciones esperan a que sus docentes elijan
}
running-need-approval = { $count ->
    [one] Una instalación espera aprobación
   *[other] { $count } instalaciones esperan aprobación
}
running-need-token = { $count ->
    [one] Una ficha vence en menos de dos semanas
   *[other] { $count } fichas vencen en menos de dos semanas
}
running-need-key = { $count ->
    [one] Una clave de firma se está retirando
   *[other] { $count } claves de firma se están retirando
}
running-counts = De un vistazo
running-count-platforms = Plataformas
running-count-pools = Bancos
running-count-quizzes = Pruebas colocadas
running-count-waiting = Calificaciones en camino
running-registered = Plataformas registradas
running-no-platform = Todavía no hay ninguna plataforma. Invite a una, o agréguela abajo.
running-column-issuer = Plataforma
running-column-client = Nuestro nombre allí (client id)
running-column-deployments = Instalaciones
running-column-deployment = Instalación
running-column-do = Hacer
running-column-since = Desde
running-column-name = Nombre
running-column-for = Para
running-column-state = Estado
running-column-ends = Vence
running-column-made = Hecha
running-column-role = Puede
running-column-used = Último uso
running-column-pupil = Alumno
running-column-quiz = Prueba
running-column-why = Por qué
running-column-when = Cuándo
running-column-what = Qué
running-column-who = Quién
running-column-detail = Detalle
running-column-course = Curso
running-column-quizzes = Pruebas
running-column-pupils = Alumnos
running-column-attempts = Intentos
running-column-share = Parte de los puntos
running-column-family = Familia / paso
running-column-facility = Parte de los puntos
running-column-most = Las respuestas equivocadas más frecuentes son coherentes con
running-remove = Quitar
running-remove-label = Quitar { $issuer }
running-remove-asks = Todavía no se ha quitado nada.
running-remove-tells = Con { $issuer } se borra todo lo que depende de ella: { $quizzes ->
    [one] una prueba colocada
   *[other] { $quizzes } pruebas colocadas
}, todos los intentos y las calificaciones en espera. No se puede deshacer.
running-remove-sure = Quitarla con todo eso
running-remove-not = Conservarla
running-waiting = Instalaciones que esperan aprobación
running-waiting-about = Se abrieron desde una plataforma registrada, pero todavía no se conocen.
running-none-waiting = Ninguna espera.
running-approve = Aprobar
running-approve-label = Aprobar la instalación { $deployment }
running-invitations = Invitaciones
running-invitations-about = Con una invitación, quien administra una plataforma la registra sin escribir direcciones. Sirve una vez, durante una semana.
running-no-invitation = Todavía no se ha hecho ninguna invitación.
running-invite = Hacer una invitación
running-invite-for = Para quién es
running-invited = Envíe esta dirección a quien administra la plataforma. Se muestra solo esta vez.
running-revoke = Retirar
running-revoke-label = Retirar { $name }
running-state-open = abierta
running-state-used = usada
running-state-revoked = retirada
running-state-ended = vencida
running-state-valid = válida
running-keys = Claves de firma
running-keys-about = Una clave nueva se publica en seguida y firma después de un día, para que la plataforma pueda conocerla.
running-no-key = No hay ninguna clave publicada.
running-key-waiting = firma más tarde
running-key-signing = firma
running-key-leaving = se retira
running-key-retired = retirada
running-rotate = Clave nueva
running-rotate-label = Clave nueva para { $issuer }
running-rotate-fault = No se hizo ninguna clave nueva: ya hay una en espera.
running-authorization-url = Dirección de autorización
running-token-url = Dirección de fichas de acceso
running-keys-url = Dirección de las claves públicas
running-add = Agregar la plataforma
running-add-heading = Agregar una plataforma a mano
running-add-about = Quien administra la plataforma encuentra estos datos donde registró la herramienta.
running-tokens-about = Una ficha deja entrar a un programa o a la coordinación. Se muestra una vez, al hacerla.
running-token-yours = { $note } (la suya)
running-token-for = Para qué es
running-token-days = Días hasta que vence
running-make-token = Hacer una ficha
running-token-made = Copie esta ficha ahora. Se muestra solo esta vez.
running-token-fault = Una ficha dura de 1 a 400 días y tiene una de las funciones de la lista.
running-role-coordinator = todo: coordinación
running-role-teacher = leer resultados y calificar: docente
running-role-auditor = solo leer: auditoría
running-never = nunca
running-deliveries = Calificaciones que aún no están en el libro
running-delivery-waiting = En camino
running-delivery-parked = No se pudieron entregar
running-delivery-held = En espera de un docente
running-delivery-oldest = La más antigua espera desde
running-parked = No se pudieron entregar
running-held = En espera: el libro tiene otra nota
running-waits = En camino
running-send-again = Enviar otra vez
running-send-again-label = Enviar otra vez la calificación de { $pupil }
running-no-problem = sin problemas por ahora
running-nothing = Nada.
running-use-courses = Uso por curso
running-use-rule = No se informa nada sobre menos de { $least } alumnos de un curso. Los pasos que tan pocos de un curso respondieron se dejan fuera en todas partes, también de las sumas y de las familias de abajo, para que nada sobre ellos se pueda calcular.
running-use-sum = Suma de las filas dadas
running-use-families = Lo que dicen las familias
running-use-csv = Familias como tabla (CSV)
running-too-few = menos de { $least }
running-filter = Elegir
running-show = Mostrar
running-all-platforms = todas
running-audit-heading = Quién cambió qué, lo más nuevo primero
running-older = Entradas más antiguas
running-use-courses-csv = Los cursos como tabla (CSV)
running-use-families-about = Junto a la parte de los puntos está su intervalo del 95 %. La última columna cuenta respuestas equivocadas.
running-use-chart = Parte de los puntos por paso, con su intervalo del 95 %
running-use-untold = Lo respondieron menos de { $least } alumnos en cada curso, así que no se informa: { $steps }.
running-use-wrong = Respuestas equivocadas
running-use-wrong-about = Cuántas respuestas equivocadas son coherentes con qué, en todos los pasos de arriba. Algunas no son coherentes con nada conocido.
running-use-wrong-chart = Respuestas equivocadas según con qué son coherentes
running-column-consistent = Coherente con
running-column-answers = Respuestas
running-column-discrimination = Discriminación
running-not-told = no se informa
running-one-a-line = Una por línea.
running-audience = Destinatario de las solicitudes de acceso (audience)
running-audience-hint = Solo si la plataforma nombra otro que su dirección de acceso; si no, déjelo vacío.
running-fault-address = «{ $field }» debe ser una dirección https entera de un servidor público, sin usuario ni contraseña; la de la plataforma misma, también sin «?». No se añadió nada.
running-fault-identifier = «{ $field }» debe tener de 1 a 255 caracteres simples. No se añadió nada.
running-registered-as = Como está registrada
running-all-platforms-link = Todas las plataformas
running-frames = Páginas que pueden mostrar tenths dentro de ellas
running-frames-about = Las direcciones de la propia plataforma pueden. Si sus escuelas tienen direcciones propias, nómbrelas aquí.
running-frames-origins = Otras direcciones
running-frames-hint = Una por línea, sin ruta, como https://school-7.example.org.
running-frames-save = Guardar estas direcciones
running-frames-fault = «{ $line }» no es una dirección https sin ruta. No se cambió nada.
running-retire = Retirarla
running-retire-label = Retirar la clave { $name }
running-retire-fault = La clave se queda: ninguna otra firmaría en su lugar.
running-held-marks = la nuestra: { $ours }; en el libro: { $theirs }
running-send-ours = Enviar la nuestra
running-send-ours-label = Enviar nuestra calificación de { $pupil }
running-keep-theirs = Dejar la del libro
running-keep-theirs-label = Dejar la nota del libro para { $pupil }
running-compare = Comparar ahora
running-compare-label = Comparar ahora la columna del libro de { $pupil }
running-compare-fault = No se pudo leer el libro de calificaciones: { $problem }
running-key-times = { $made }; se retira el { $leaves }
