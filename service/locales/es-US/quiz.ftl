# The pupil's pages.

quiz-points = { $count ->
    [one] { $count } punto
   *[other] { $count } puntos
}
quiz-points-of = { $maximum ->
    [one] { $points } de { $maximum } punto
   *[other] { $points } de { $maximum } puntos
}

# Start
quiz-about = Sobre esta prueba
quiz-welcome = Estas preguntas tienen números solo para ti. Tómate tu tiempo; puedes guardar y volver.
quiz-welcome-again = Qué bueno verte de nuevo.
quiz-fact-questions = Preguntas
quiz-fact-attempts = Intentos
quiz-attempts-used = { $used } de { $allowed } usados
quiz-fact-later = Pasos siguientes
quiz-later-own = cuenta lo que sigue bien de tu propia respuesta anterior
quiz-later-right = en cada paso cuenta solo el valor correcto
quiz-fact-until = Entrega hasta
quiz-fact-best = Tu mejor resultado
quiz-fact-gradebook = Lo que recibe tu maestra o maestro
quiz-gradebook-preview = Esto es una vista previa: nada llega al libro de calificaciones.
quiz-gradebook-best = Tu mejor intento llega al libro de calificaciones.
quiz-gradebook-none = Tu maestra o maestro ve tus puntos aquí; este curso no recibe calificaciones de la prueba.
quiz-start = Empezar
quiz-try-again = Intentar otra vez con números nuevos
quiz-try-again-what = Recibes otras preguntas de los mismos tipos, con otros números. Cuenta tu mejor intento.
quiz-resume = Seguir con tu intento
quiz-resume-saved = { $asked ->
    [one] Tu intento { $number } está abierto: hay { $answered } de { $asked } respuesta guardada.
   *[other] Tu intento { $number } está abierto: hay { $answered } de { $asked } respuestas guardadas.
}
quiz-not-yet = Esta prueba todavía no está abierta.
quiz-not-yet-opens = Se abre el { $time }. Vuelve entonces.
quiz-over = Esta prueba ya terminó.
quiz-over-closed = Se cerró el { $time }. Lo que entregaste se queda aquí y cuenta.
quiz-finished = Ya usaste todos tus intentos. Muy bien por haberlos trabajado.
quiz-handed-in = Intentos que entregaste
quiz-handed-in-points = { $maximum ->
    [one] Intento { $number }: { $points } de { $maximum } punto
   *[other] Intento { $number }: { $points } de { $maximum } puntos
}
quiz-not-started-closed = No empezó ningún intento, porque la prueba no está abierta ahora.
quiz-not-started-used = Ya usaste todos los intentos, así que no empezó ninguno nuevo.

# An open attempt
quiz-attempt-of = Intento { $number } de { $allowed }
quiz-count = { $count ->
    [one] { $count } pregunta
   *[other] { $count } preguntas
}
quiz-started = Empezó el { $time }
quiz-until = Entrega hasta el { $time }
quiz-minutes-left = { $minutes ->
    [one] Quedaba { $minutes } minuto al abrir esta página
   *[other] Quedaban { $minutes } minutos al abrir esta página
}
quiz-saved = Guardado.
quiz-saved-why = Puedes cerrar esta página y volver después. Todo lo que escribiste se conserva.
quiz-empty = Todavía no está entregado.
quiz-empty-which = Tus respuestas están guardadas, pero estas siguen vacías:
quiz-empty-next = Llénalas, o presiona “Entregar así” al final de la página.
quiz-too-long = Acorta, por favor.
quiz-too-long-which = Estas respuestas son demasiado largas, así que no se guardaron y no se entregó nada. Una respuesta puede tener hasta { $most } caracteres:
quiz-too-long-rest = Tus otras respuestas están guardadas.
quiz-too-long-field = Esta respuesta es demasiado larga. Escribe una más corta.
quiz-newer = Revisa, por favor.
quiz-newer-which = Estas respuestas se cambiaron en otra página o computadora después de abrir esta página. Se conservó la respuesta más nueva:
quiz-newer-text = { $field } Aquí habías escrito “{ $yours }”.
quiz-newer-next = Si quieres la tuya, escríbela otra vez. Tus otras respuestas están guardadas.
quiz-how-to-write = Escribe cada respuesta como un solo número, como { $example } o 3/4, salvo que se pidan palabras. Puedes poner la unidad o no ponerla.
quiz-question = Pregunta { $number }
quiz-question-of = Pregunta { $number } de { $count }
quiz-field = Pregunta { $number }: { $prompt }
quiz-in-words = Nombra también la última posición: décimas, centésimas o milésimas.
quiz-unit = { $unit ->
    [km] La respuesta va en kilómetros.
    [m] La respuesta va en metros.
    [cm] La respuesta va en centímetros.
    [mm] La respuesta va en milímetros.
    [m2] La respuesta va en metros cuadrados.
    [cm2] La respuesta va en centímetros cuadrados.
    [kg] La respuesta va en kilogramos.
    [g] La respuesta va en gramos.
    [L] La respuesta va en litros.
    [mL] La respuesta va en mililitros.
    [mi] La respuesta va en millas.
    [yd] La respuesta va en yardas.
    [ft] La respuesta va en pies.
    [in] La respuesta va en pulgadas.
    [yd2] La respuesta va en yardas cuadradas.
    [ft2] La respuesta va en pies cuadrados.
    [in2] La respuesta va en pulgadas cuadradas.
    [lb] La respuesta va en libras.
    [oz] La respuesta va en onzas.
    [gal] La respuesta va en galones.
    [qt] La respuesta va en cuartos de galón.
    [pt] La respuesta va en pintas.
    [cup] La respuesta va en tazas.
    [fl-oz] La respuesta va en onzas líquidas.
    [h] La respuesta va en horas.
    [min] La respuesta va en minutos.
    [s] La respuesta va en segundos.
    [dollar] La respuesta va en dólares.
    [cent] La respuesta va en centavos.
   *[other] La respuesta va en { $unit }.
}
quiz-choose = elige
quiz-place = { $number }.
quiz-done = Cuando termines
quiz-done-what = Puedes guardar las veces que quieras. Después de entregar ves qué respuestas eran correctas y cómo se hace cada una.
quiz-save = Guardar y seguir después
quiz-hand-in = Entregar
quiz-hand-in-anyway = Entregar así

# One question at a time
quiz-next = Pregunta siguiente
quiz-back = Atrás
quiz-to-check = Revisar y entregar
quiz-all-questions = Todas las preguntas
quiz-state-answered = respondida
quiz-state-partly = respondida en parte
quiz-state-empty = todavía vacía
quiz-check = Revisa tus respuestas
quiz-check-full = Todas las preguntas tienen respuesta. Todavía puedes cambiarlas.
quiz-check-empty = { $count ->
    [one] Una respuesta sigue vacía:
   *[other] { $count } respuestas siguen vacías:
}
quiz-check-back = Volver a las preguntas

# Keeping what is typed
quiz-keep-ready = Lo que escribes se guarda solo.
quiz-keep-saving = Guardando …
quiz-keep-saved = Guardado
quiz-keep-offline = Sin conexión: tus respuestas se conservan en esta computadora y se envían cuando vuelva.
quiz-keep-offline-page = Sin conexión: deja abierta esta página, y tus respuestas se envían cuando vuelva.
quiz-keep-busy = Ahora mismo trabaja muchísima gente. No se pierde nada: deja abierta esta página y se envía otra vez en un momento.
quiz-keep-signed-out = Se acabó tu tiempo aquí. Tus respuestas se conservan en esta computadora: abre otra vez la prueba desde tu curso.
quiz-keep-signed-out-page = Se acabó tu tiempo aquí. Anota tus últimas respuestas y abre otra vez la prueba desde tu curso.
quiz-keep-newer = En los campos con una marca se muestra una respuesta más nueva, de otra página o computadora.
quiz-keep-closed = Este intento ya se entregó. Vuelve a cargar la página para ver el resultado.
quiz-keep-restored = Lo que escribiste antes de perder la conexión está aquí otra vez.
quiz-keep-too-long = Una respuesta es demasiado larga y no se guardó. Acórtala, por favor.
quiz-keep-no-hand-in = No se entregó: no hay conexión. Todo lo que escribiste se conserva. Presiona “Entregar” otra vez cuando vuelva.

# The place-value grid
quiz-grid-open = Escribirlo en una tabla de valor posicional
quiz-grid-close = Quitar la tabla
quiz-grid-name = Tabla de valor posicional. Lo que escribes aquí aparece en el campo. Las flechas llevan de una posición a otra.
quiz-grid-gap = Hay una posición vacía entre tus cifras. Si no hay ninguna de ellas, escribe 0.
quiz-grid-other = Lo que está en el campo no cabe en la tabla. Si escribes aquí, se reemplaza.
quiz-grid-places = decenas de millar,unidades de millar,centenas,decenas,unidades,décimas,centésimas,milésimas

# The result
quiz-result-title = { $title }: tu resultado
quiz-your-points = Tus puntos
quiz-score-of = { $maximum ->
    [one] de { $maximum } punto
   *[other] de { $maximum } puntos
}
quiz-best = { $maximum ->
    [one] Tu mejor resultado: { $points } de { $maximum } punto.
   *[other] Tu mejor resultado: { $points } de { $maximum } puntos.
}
quiz-no-more = Este fue tu último intento.
quiz-no-more-closed = La prueba no acepta intentos nuevos ahora.
quiz-ended = La prueba terminó. Lo que habías guardado se entregó por ti, y cuenta. Aquí está tu resultado.
quiz-to-start = Volver al inicio de la prueba
quiz-your-answer = Tu respuesta:

# Practice
quiz-practice = Practicar con números nuevos
quiz-practice-title = { $title }: práctica
quiz-practice-what = Preguntas de los tipos que todavía no salieron bien, con otros números. Se revisan en el momento. Nada de esto se guarda ni llega al libro de calificaciones.
quiz-practice-check = Ver cómo me fue
quiz-practice-more = Más práctica
quiz-practice-none = Todo estuvo bien: no hay nada que practicar.
quiz-practice-done = Práctica: { $points } de { $maximum }
