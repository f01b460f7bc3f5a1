# Workings drawn, charts, and marked questions.

# Numbers for listeners
drawings-said-point = { $whole } punto { $parts }
drawings-said-comma = { $whole } coma { $parts }
drawings-said-fraction = { $above } sobre { $below }
drawings-said-power = { $base } elevado a { $exponent }

# Charts
drawings-as-table = Lo mismo en una tabla
drawings-table = Tabla
drawings-legend = Qué significan los signos
drawings-pupil = Estudiante
drawings-cell-right = Correcta
drawings-cell-own = Correcta a partir de la respuesta anterior
drawings-cell-form = Correcta en parte, o en otra forma
drawings-cell-wrong = Todavía no es correcta
drawings-cell-blank = Vacía
drawings-cell-none = No entregada
drawings-map-summary = Estudiantes: { $pupils }. Preguntas: { $questions }. Respuestas correctas: { $right } de { $all }.
drawings-count-of = { $count } de { $whole }
drawings-percent = { $share } %
drawings-share = { $at }, entre { $low } y { $high }
drawings-share-heading = Proporción
drawings-from = Desde
drawings-to = Hasta
drawings-too-few = Muy pocos estudiantes para decirlo

# Workings: titles of pictures
drawings-title-add = Suma en columnas
drawings-title-subtract = Resta en columnas
drawings-title-multiply = Multiplicación en columnas
drawings-title-divide = División larga
drawings-title-round = Redondeo
drawings-title-compare = Números comparados lugar por lugar
drawings-title-order = Números en orden
drawings-title-place = Un dígito y su lugar
drawings-line-title = La misma diferencia en una recta numérica

# Places
drawings-place-thousands = unidades de millar
drawings-place-hundreds = centenas
drawings-place-tens = decenas
drawings-place-ones = unidades
drawings-place-tenths = décimas
drawings-place-hundredths = centésimas
drawings-place-thousandths = milésimas
drawings-place-ten-thousandths = diezmilésimas
drawings-place-other = posiciones siguientes

# Workings in words
drawings-told-annexed = Los ceros llenan los lugares vacíos después del último dígito.
drawings-told-carry = Se lleva { $digit } a las { $place }.
drawings-told-exchange = En las { $place }, { $old } pasa a ser { $new }.
drawings-told-sum = La suma es { $number }.
drawings-told-difference = La diferencia es { $number }.
drawings-told-places = { $places ->
    [one] Los factores tienen en total { $places } lugar decimal, y el producto también.
   *[other] Los factores tienen en total { $places } lugares decimales, y el producto también.
}
drawings-told-product = El producto es { $number }.
drawings-told-made-whole = Los dos números se hacen { $times } veces más grandes para dividir entre un número entero: { $from } ÷ { $by } = { $to } ÷ { $whole }.
drawings-told-quotient = El cociente es { $number }.
drawings-told-quotient-begins = El cociente empieza con { $number }, y sobra algo.
drawings-told-quotient-rounded = Redondeado es { $number }.
drawings-told-decides-down = El { $digit } de las { $place } decide: es menor que 5, así que redondeas hacia abajo.
drawings-told-decides-up = El { $digit } de las { $place } decide: es 5 o más, así que redondeas hacia arriba.
drawings-told-rounded = { $number } pasa a ser { $rounded }.
drawings-told-differ = Desde la izquierda, los números se diferencian primero en las { $place }.
drawings-told-alike = Los números tienen el mismo dígito en cada lugar.
drawings-told-less = { $left } es menor que { $right }.
drawings-told-equal = { $left } es igual a { $right }.
drawings-told-greater = { $left } es mayor que { $right }.
drawings-told-ascending = Del menor al mayor: { $numbers }.
drawings-told-descending = Del mayor al menor: { $numbers }.
drawings-told-place = En { $number }, el dígito de las { $place } es { $digit }.
drawings-told-worth = { $number } es { $whole } y { $parts }.
drawings-told-shift = Aumenta los dos números en { $shift }: { $low } pasa a ser { $lowRaised } y { $high } pasa a ser { $highRaised }, y la diferencia sigue siendo { $difference }.

# Marked questions
drawings-marked-question = Pregunta { $number }
drawings-marked-step = Paso { $step }
drawings-marked-points = { $maximum ->
    [one] { $points } de { $maximum } punto
   *[other] { $points } de { $maximum } puntos
}
drawings-marked-gone = Esta pregunta ya no está en el banco de preguntas.
drawings-marked-no-answer = Sin respuesta
drawings-marked-how = Cómo se hace
drawings-marked-own-working = A partir de la respuesta anterior que se dio:
drawings-marked-answer = La respuesta:
drawings-marked-answer-earlier = Con la respuesta anterior correcta es
drawings-verdict-right = Correcta
drawings-verdict-own = Correcta a partir de la respuesta anterior
drawings-verdict-form = Valor correcto, otra forma
drawings-verdict-wrong = Todavía no es correcta
drawings-verdict-unreadable = No se pudo leer
drawings-verdict-blank = Vacía
drawings-why-own = Seguiste bien a partir de tu propia respuesta anterior, así que recibes los puntos de este paso.
drawings-why-own-teacher = Es correcta a partir del valor anterior del estudiante; recibe todos los puntos de este paso.
drawings-why-unknown = Compara tu procedimiento con el de abajo: ¿dónde toma el tuyo otro camino?
drawings-why-one-of = Puede haber pasado una de estas cosas:
drawings-why-unknown-teacher = Ningún malentendido conocido lleva a esta respuesta.
drawings-why-teacher = Respuestas compatibles con { $reason }. Después: { $next }
