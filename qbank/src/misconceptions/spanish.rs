//! What pupils are told in Spanish, a sentence for each misconception.
//!
//! The words are those of bilingual classrooms in the United States: the pupil is 'tú', numbers have a 'punto
//! decimal', digits stand in 'posiciones', ones are 'reagrupados'. A table of its own, so that whoever reads Spanish
//! can go through it in one piece; a test compares its ids with those of the misconceptions.

/// Id and sentence, in the order of the groups.
pub(super) static PUPIL: &[(&str, &str)] = &[
    (
        "add-right-edge",
        "Parece que los últimos dígitos quedaron uno debajo del otro; alinea los puntos decimales, para que las décimas queden debajo de las décimas.",
    ),
    (
        "add-right-edge-first-point",
        "Parece que los últimos dígitos quedaron uno debajo del otro y que el punto se tomó del primer número; alinea los puntos decimales.",
    ),
    ("add-point-ignored", "Los dígitos se sumaron como números enteros; ¿dónde va el punto decimal?"),
    (
        "add-two-whole-numbers",
        "Diez décimas forman un entero: cuando las décimas lleguen a diez o más, lleva uno al otro lado del punto.",
    ),
    (
        "add-carry-dropped",
        "Algunas columnas llegan a diez o más: acuérdate de llevar uno a la posición siguiente.",
    ),
    (
        "add-carry-lost-at-point",
        "Las décimas llegaron a diez o más: lleva uno a las unidades, al otro lado del punto.",
    ),
    (
        "add-carry-written-in-full",
        "En cada columna cabe un solo dígito: escribe las unidades de la columna y lleva la decena.",
    ),
    ("add-wrong-digit-carried", "Cuando una columna suma 15, escribe el 5 y lleva el 1, no al revés."),
    (
        "add-left-edge",
        "Parece que los primeros dígitos quedaron uno debajo del otro; en vez de eso, alinea los puntos decimales.",
    ),
    (
        "add-ragged-tail-dropped",
        "Un número tiene más posiciones; consérvalas: agrega un cero al otro número y suma todas las columnas.",
    ),
    (
        "subtract-smaller-from-larger",
        "En alguna columna se restó el dígito menor del mayor; hay que quitarle al dígito de arriba, así que primero reagrupa.",
    ),
    (
        "subtract-exchange-without-trade",
        "Después de reagrupar, la posición de la izquierda tiene uno menos; réstaselo antes de seguir.",
    ),
    (
        "subtract-zero-instead-of-exchange",
        "Cuando el dígito de arriba es demasiado pequeño, reagrupa uno de la izquierda en vez de escribir 0.",
    ),
    (
        "subtract-exchange-from-leftmost",
        "Se reagrupa desde la posición que está justo a la izquierda, no desde el primer dígito.",
    ),
    (
        "subtract-ten-replaces-digit",
        "El diez se junta con el dígito que ya está ahí: el 2 se convierte en 12.",
    ),
    (
        "subtract-stops-at-zero",
        "Un cero no puede dar uno; sigue con la posición que está a su izquierda, y el cero se convierte en nueve.",
    ),
    ("subtract-skips-zero", "Cuando reagrupas pasando por un cero, ese cero se convierte en nueve."),
    (
        "subtract-exchange-from-zero",
        "Un cero solo puede convertirse en nueve si la posición a su izquierda da uno; réstale uno también a ese dígito.",
    ),
    ("subtract-zero-becomes-ten", "El cero se convierte en diez y enseguida da uno: quedan nueve."),
    (
        "subtract-zero-minus-copies",
        "A 0 todavía no se le puede quitar nada: primero reagrupa y después resta.",
    ),
    ("subtract-zero-minus-zero", "A 0 todavía no se le puede quitar nada: primero reagrupa y después resta."),
    ("subtract-minus-zero-gives-zero", "Quitar 0 no cambia nada: el dígito de arriba se queda igual."),
    (
        "subtract-copies-unfilled-places",
        "El número de arriba no tiene dígito ahí: primero agrega un cero, después reagrupa y resta.",
    ),
    (
        "subtract-right-edge",
        "Parece que los últimos dígitos quedaron uno debajo del otro; alinea los puntos decimales, para que las décimas queden debajo de las décimas.",
    ),
    (
        "subtract-right-edge-first-point",
        "Parece que los últimos dígitos quedaron uno debajo del otro y que el punto se tomó del primer número; alinea los puntos decimales.",
    ),
    (
        "subtract-two-whole-numbers",
        "Las partes de antes y después del punto van juntas: alinea por posición y reagrupa de un lado al otro del punto.",
    ),
    (
        "subtract-shift-on-one-number",
        "Si aumentas el número que restas, aumenta el otro número en la misma cantidad.",
    ),
    (
        "subtract-shift-opposite-ways",
        "En la resta, los dos números cambian en la misma dirección; solo en la suma cambian en direcciones contrarias.",
    ),
    (
        "multiply-points-lined-up",
        "En un producto se cuentan juntas las posiciones decimales de los dos números: décimas de décimas son centésimas.",
    ),
    (
        "multiply-point-ignored",
        "Los dígitos se multiplicaron como números enteros; ¿dónde va el punto decimal?",
    ),
    (
        "multiply-places-from-left",
        "Los dígitos están bien; cuenta las posiciones para el punto desde la derecha.",
    ),
    (
        "multiply-places-multiplied",
        "Los dígitos se multiplican, pero las cantidades de posiciones decimales se suman.",
    ),
    (
        "multiply-parts-apart",
        "Cada parte de un número se multiplica por cada parte del otro, y diez décimas forman un entero.",
    ),
    (
        "multiply-end-zero-dropped",
        "Un cero al final del producto cuenta como una posición: pon primero el punto y después quita el cero.",
    ),
    (
        "multiply-no-zeros-in-front",
        "Hay menos dígitos que posiciones: pon ceros delante hasta llenar todas las posiciones.",
    ),
    (
        "multiply-second-row-not-shifted",
        "Cada dígito del segundo número tiene su posición: su fila empieza una posición más a la izquierda que la fila de arriba.",
    ),
    (
        "multiply-makes-bigger",
        "Multiplicar por un número menor que uno es tomar una parte del otro número, así que el resultado es menor; la operación no cambia.",
    ),
    (
        "power-append-zero",
        "Un cero después de la última posición decimal no cambia el valor; al multiplicar por 10, cada dígito se mueve una posición a la izquierda.",
    ),
    (
        "power-whole-part-only",
        "Las décimas también se hacen diez veces mayores: todos los dígitos se mueven.",
    ),
    (
        "power-wrong-direction",
        "¿El resultado debe ser mayor o menor que el número? Mueve los dígitos en esa dirección.",
    ),
    (
        "power-one-place-short",
        "La dirección es correcta; cuenta los ceros de 10, 100 o 1000 para ver cuántas posiciones se mueven los dígitos.",
    ),
    (
        "power-one-place-too-far",
        "La dirección es correcta; cuenta los ceros de 10, 100 o 1000 para ver cuántas posiciones se mueven los dígitos.",
    ),
    (
        "divide-zero-dropped",
        "Cuando el divisor no cabe en el dígito que bajaste, escribe un 0 en el cociente y sigue.",
    ),
    (
        "divide-point-ignored",
        "Los dígitos se dividieron como un número entero; pon el punto en el cociente cuando llegues al punto del dividendo.",
    ),
    (
        "divide-only-divisor-made-whole",
        "Cuando el divisor se hace diez veces mayor, el dividendo también tiene que hacerse diez veces mayor.",
    ),
    (
        "divide-points-removed-apart",
        "Mueve los dos puntos la misma cantidad de posiciones, las necesarias para que el divisor sea un número entero.",
    ),
    (
        "divide-larger-by-smaller",
        "Un número menor se puede repartir entre uno mayor: entonces cada parte es menos que un entero.",
    ),
    (
        "divide-makes-smaller",
        "Dividir entre un número menor que uno da un resultado mayor: pregúntate cuántas veces cabe.",
    ),
    (
        "divide-remainder-as-decimal",
        "Lo que sobra no es una cantidad de décimas; cámbialo por décimas y sigue dividiendo.",
    ),
    (
        "compare-longer-is-larger",
        "Tener más dígitos no hace mayor a un decimal: compara primero las décimas.",
    ),
    (
        "compare-zero-makes-small",
        "Compara posición por posición, primero las décimas; no solo un cero hace menor a un decimal.",
    ),
    (
        "compare-shorter-is-larger",
        "Tener menos dígitos no hace mayor a un decimal: compara primero las décimas.",
    ),
    (
        "compare-like-unit-fractions",
        "0.4 son cuatro décimas, más que tres décimas: con las mismas posiciones, dígitos mayores dan un número mayor.",
    ),
    ("compare-right-to-left", "Empieza a comparar junto al punto: las décimas deciden primero."),
    (
        "compare-two-places-only",
        "Mira también más allá de las centésimas: las milésimas pueden hacer la diferencia.",
    ),
    (
        "compare-end-zero-makes-larger",
        "Un cero escrito al final no agrega centésimas: cinco décimas y cincuenta centésimas son la misma cantidad.",
    ),
    (
        "compare-end-zero-makes-smaller",
        "Un cero escrito al final no quita nada: cinco décimas y cincuenta centésimas son la misma cantidad.",
    ),
    ("compare-point-ignored", "Mira primero la parte entera: ¿dónde está el punto?"),
    (
        "round-cuts-off",
        "Mira el dígito que sigue antes de quitarlo: con cinco o más se redondea hacia arriba.",
    ),
    (
        "round-digit-by-digit",
        "Redondea una sola vez: solo decide el dígito que está justo después de la posición.",
    ),
    ("round-wrong-place", "Busca la posición que pide el ejercicio y subráyala antes de redondear."),
    (
        "round-always-up",
        "Con dígitos menores que cinco se redondea hacia abajo: la posición conserva su dígito.",
    ),
    ("round-five-goes-down", "Según nuestra regla, con cinco se redondea hacia arriba."),
    (
        "round-nine-becomes-ten",
        "Cuando un nueve se redondea hacia arriba, se convierte en cero y la posición a su izquierda aumenta en uno.",
    ),
    (
        "round-nine-loses-carry",
        "Cuando un nueve se redondea hacia arriba, se convierte en cero y la posición a su izquierda aumenta en uno: lleva ese uno.",
    ),
    (
        "place-mirror-name",
        "Fíjate en el final del nombre: las décimas y las centésimas son partes de una unidad; las decenas y las centenas son muchas unidades.",
    ),
    (
        "place-mirror-position",
        "A la derecha del punto, las posiciones son partes de una unidad, y la primera es la de las décimas: allí no se repiten las unidades.",
    ),
    (
        "place-zero-after-point-dropped",
        "El último dígito va en la posición que se nombra; llena con ceros las posiciones anteriores.",
    ),
    (
        "place-name-one-too-small",
        "Cuenta las posiciones desde el punto: la primera son las décimas, la segunda las centésimas y la tercera las milésimas.",
    ),
    (
        "place-too-many-units",
        "En una posición caben nueve como máximo: diez décimas forman un entero, así que primero haz el cambio.",
    ),
    (
        "fraction-denominator-as-decimal",
        "Los dígitos después del punto cuentan décimas; ¿cuántas décimas o centésimas vale esta fracción?",
    ),
    ("fraction-decimal-as-denominator", "Un dígito después del punto cuenta décimas: escríbelo sobre diez."),
    (
        "fraction-bar-as-point",
        "La barra quiere decir dividido entre; ¿la fracción es más o menos que un entero?",
    ),
    (
        "unit-wrong-direction",
        "De una unidad más grande se necesitan menos: ¿el número debe ser mayor o menor?",
    ),
    (
        "unit-factor-ten",
        "Comprueba cuántas de la unidad más pequeña forman una de la más grande: aquí no son diez.",
    ),
    (
        "unit-factor-hundred",
        "Comprueba cuántas de la unidad más pequeña forman una de la más grande: aquí no son cien.",
    ),
    (
        "unit-not-converted",
        "Los números cuentan unidades distintas; escribe primero los dos en la misma unidad.",
    ),
    ("unit-clock-as-decimal", "Una hora tiene 60 minutos, no 100: ¿qué parte de una hora son estos minutos?"),
    (
        "unit-cents-as-dollars",
        "Cien centavos forman un dólar: escribe primero los centavos como parte de un dólar.",
    ),
    (
        "unit-cents-zero-dropped",
        "Los centavos ocupan dos posiciones: cuando son menos de diez, empiezan con un cero.",
    ),
    ("story-stops-early", "Ese es un paso del camino; lee otra vez la pregunta: ¿qué falta por calcular?"),
    (
        "story-operation-from-keyword",
        "Dibuja la historia: ¿quién tiene más? Después decide si hay que sumar o restar.",
    ),
];

/// Id, what follows 'respuestas consistentes con', and an idea for what to do next; for teachers.
pub(super) static TEACHER: &[(&str, &str, &str)] = &[];
