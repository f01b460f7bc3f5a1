//! What pupils and teachers are told in Spanish, for each misconception.
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
pub(super) static TEACHER: &[(&str, &str, &str)] = &[
    (
        "add-right-edge",
        "alinear los números por sus últimos dígitos en vez de por posición",
        "Escriba los dos números en papel de valor posicional y agregue ceros hasta que tengan las mismas posiciones.",
    ),
    (
        "add-right-edge-first-point",
        "alinear los números por sus últimos dígitos y poner el punto donde lo tiene el primer número",
        "Escriba los dos números en papel de valor posicional y pregunte qué dígitos de la suma son décimas.",
    ),
    (
        "add-point-ignored",
        "sumar los dígitos como números enteros y omitir el punto",
        "Primero estime: ¿la suma está más cerca de 5 o de 100?",
    ),
    (
        "add-two-whole-numbers",
        "sumar la parte antes y la parte después del punto como dos números enteros separados",
        "Cuenten de décima en décima más allá de un entero: 4.8, 4.9, ¿y luego?",
    ),
    (
        "add-carry-dropped",
        "omitir todo lo que se lleva",
        "Cambie diez centésimas por una décima con discos de valor posicional y escriba arriba el pequeño uno.",
    ),
    (
        "add-carry-lost-at-point",
        "perder lo que se lleva de las décimas a las unidades",
        "Sume 0.7 y 0.5 con discos: ¿por qué se pueden cambiar diez décimas?",
    ),
    (
        "add-carry-written-in-full",
        "escribir completa la suma de cada columna en vez de llevar",
        "Compare con una estimación: ¿puede la suma tener tantos dígitos?",
    ),
    (
        "add-wrong-digit-carried",
        "escribir las decenas de la suma de una columna y llevar sus unidades",
        "Dígalo en voz alta: quince centésimas son una décima y cinco centésimas.",
    ),
    (
        "add-left-edge",
        "alinear los números por sus primeros dígitos en vez de por posición",
        "Nombren la posición de cada primer dígito antes de sumar.",
    ),
    (
        "add-ragged-tail-dropped",
        "omitir las posiciones que solo tiene uno de los números",
        "Escriba 4.6 como 4.60 y pregunte cuánto suman las centésimas.",
    ),
    (
        "compare-longer-is-larger",
        "leer los dígitos después del punto como un número entero, de modo que más largo es mayor",
        "Marque 0.35 y 0.8 en una recta numérica de décimas.",
    ),
    (
        "compare-zero-makes-small",
        "ver que los ceros después del punto hacen pequeño a un decimal, y si no, más largo es mayor",
        "Dé pares con y sin ceros: 0.8 y 0.35, 0.8 y 0.053.",
    ),
    (
        "compare-shorter-is-larger",
        "tomar el decimal con menos dígitos por el mayor",
        "Escriba los dos con las mismas posiciones y díganlos en centésimas.",
    ),
    (
        "compare-like-unit-fractions",
        "tratar los decimales como uno entre un número, de modo que dígitos mayores valen menos",
        "Sombreen tres décimas y cuatro décimas de una tira.",
    ),
    (
        "compare-right-to-left",
        "comparar los dígitos después del punto de derecha a izquierda",
        "Nombren el valor de cada dígito de 0.41 y 0.29.",
    ),
    (
        "compare-two-places-only",
        "mirar solo dos posiciones, como si todos los decimales fueran dinero",
        "Acérquense en la recta numérica entre 4.45 y 4.46.",
    ),
    (
        "compare-end-zero-makes-larger",
        "tomar un decimal por mayor cuando tiene un cero escrito al final",
        "Sombreen 5 de 10 tiras y 50 de 100 cuadritos del mismo entero.",
    ),
    (
        "compare-end-zero-makes-smaller",
        "tomar un decimal por menor cuando tiene un cero escrito al final",
        "Cambie cinco décimas por centésimas con discos de valor posicional y cuéntenlas.",
    ),
    (
        "compare-point-ignored",
        "comparar todos los dígitos como números enteros sin mirar el punto",
        "Pregunte cuál está más cerca de dos: ¿2.15 o 12.3?",
    ),
    (
        "divide-zero-dropped",
        "omitir un cero dentro del cociente",
        "Comprueben multiplicando: ¿4 × 2.6 es igual a 8.24?",
    ),
    (
        "divide-point-ignored",
        "dividir los dígitos del dividendo como un número entero",
        "Primero estime: 12.6 repartido entre 3, ¿cuánto es más o menos?",
    ),
    (
        "divide-only-divisor-made-whole",
        "quitar el punto del divisor y dejar el dividendo como estaba",
        "Pregunte cuántas mitades caben en 4.5 y cuenten en la recta numérica.",
    ),
    (
        "divide-points-removed-apart",
        "quitar los dos puntos sin moverlos lo mismo",
        "Escriba los dos números con las mismas posiciones antes de quitar los puntos.",
    ),
    (
        "divide-larger-by-smaller",
        "dividir siempre el número mayor entre el menor",
        "Repartan 2 metros de cuerda entre 5 y digan qué se reparte y entre cuántos.",
    ),
    (
        "divide-makes-smaller",
        "multiplicar por un divisor menor que uno, como si dividir solo pudiera dar menos",
        "Pregunte cuántos medios litros hay en 6 litros.",
    ),
    (
        "divide-remainder-as-decimal",
        "escribir el residuo como los dígitos después del punto",
        "Repartan 7 tiras de papel entre 4 y corten las tres que sobran.",
    ),
    (
        "fraction-denominator-as-decimal",
        "escribir el denominador de una fracción unitaria después del punto",
        "Doble una tira en cuartos y póngala junto a una tira de décimas.",
    ),
    (
        "fraction-decimal-as-denominator",
        "leer los dígitos después del punto como el denominador de una fracción unitaria",
        "Digan el decimal por sus posiciones y escriban como fracción lo que dijeron.",
    ),
    (
        "fraction-bar-as-point",
        "escribir el numerador antes y el denominador después del punto",
        "Marquen la fracción en una recta numérica de 0 a 1 antes de escribirla como decimal.",
    ),
    (
        "multiply-points-lined-up",
        "dar al producto tantas posiciones como el factor que tiene más, como en la suma",
        "Sombreen 0.3 de 0.2 en un cuadrado de cien y cuenten los cuadritos.",
    ),
    (
        "multiply-point-ignored",
        "multiplicar los dígitos como números enteros y omitir el punto",
        "Primero estime: ¿1.2 × 0.3 está más cerca de 36 o de 1?",
    ),
    (
        "multiply-places-from-left",
        "contar las posiciones del punto desde el extremo izquierdo del producto",
        "Redondeen los dos factores y vean qué lugar del punto va con la estimación.",
    ),
    (
        "multiply-places-multiplied",
        "multiplicar los números de posiciones en vez de sumarlos",
        "Escriban los dos factores como fracciones: ¿cuánto es una milésima de una décima?",
    ),
    (
        "multiply-parts-apart",
        "multiplicar la parte antes y la parte después del punto como dos números enteros separados",
        "Dibujen un rectángulo de 2.3 por 1.4, córtenlo en los enteros y cuenten sus cuatro partes.",
    ),
    (
        "multiply-end-zero-dropped",
        "quitar un cero al final del producto antes de contar posiciones",
        "Piensen en la mitad de cuatro décimas: ¿0.02 es suficiente?",
    ),
    (
        "multiply-no-zeros-in-front",
        "poner el punto justo delante de los dígitos del producto donde hacen falta ceros",
        "Díganlo en unidades: tres centésimas de dos décimas, ¿son seis de qué?",
    ),
    (
        "multiply-second-row-not-shifted",
        "escribir todos los productos parciales uno debajo de otro sin moverlos a sus posiciones",
        "Escriba junto a cada fila lo que representa: 23 × 4 y luego 23 × 10.",
    ),
    (
        "multiply-makes-bigger",
        "dividir entre un factor menor que uno, como si multiplicar solo pudiera dar más",
        "Trabajen la misma historia con 2 kg, 1 kg y luego 0.8 kg, sin cambiar la operación.",
    ),
    (
        "place-mirror-name",
        "tomar décimas por decenas y centésimas por centenas",
        "Armen cien y una centésima con discos de valor posicional y compárenlos con uno.",
    ),
    (
        "place-mirror-position",
        "contar las posiciones a la derecha del punto como las de la izquierda, con unidades primero",
        "Rotulen una tabla de valor posicional desde las unidades hacia afuera: decenas y décimas, centenas y centésimas.",
    ),
    (
        "place-zero-after-point-dropped",
        "escribir los dígitos de la fracción justo después del punto, sin ceros que llenen posiciones",
        "Escriban el número en una tabla de valor posicional, posición por posición, como se dice.",
    ),
    (
        "place-name-one-too-small",
        "contar las unidades como la primera posición después del punto, de modo que la última posición recibe el nombre de la siguiente más pequeña",
        "Rotulen una tabla de valor posicional y nombren la última posición de 0.4, 0.45 y 0.456 antes de decir el número.",
    ),
    (
        "place-too-many-units",
        "escribir todas las décimas o centésimas después del punto, sean las que sean",
        "Pongan quince décimas y cambien diez de ellas por un entero.",
    ),
    (
        "power-append-zero",
        "escribir ceros después del último dígito, lo que no cambia el valor de un decimal",
        "Pregunte cuál es mayor, 2.3 o 2.30, y luego cerca de qué debe estar diez veces 2.3.",
    ),
    (
        "power-whole-part-only",
        "multiplicar por la potencia de diez solo la parte antes del punto",
        "Pongan 2.3 diez veces con discos de valor posicional y cambien las décimas.",
    ),
    (
        "power-wrong-direction",
        "dividir entre la potencia de diez en vez de multiplicar, o al revés",
        "Antes de trabajar, escriban «mayor» o «menor» junto a cada tarea.",
    ),
    (
        "power-one-place-short",
        "mover los dígitos una posición menos de lo que pide la potencia de diez",
        "Vayan de diez en diez: 6.4, 64, 640.",
    ),
    (
        "power-one-place-too-far",
        "mover los dígitos una posición más de lo que pide la potencia de diez",
        "Vayan de diez en diez y paren en el número de ceros.",
    ),
    (
        "round-cuts-off",
        "cortar dígitos en vez de redondear",
        "Busquen las dos décimas más cercanas en una recta numérica y vean cuál queda más cerca.",
    ),
    (
        "round-digit-by-digit",
        "redondear desde la derecha, una posición a la vez",
        "Pregunte si 2.449 está más cerca de 2.4 o de 2.5.",
    ),
    (
        "round-wrong-place",
        "redondear a otra posición que la pedida",
        "Nombren las posiciones en voz alta: unidades, décimas, centésimas.",
    ),
    (
        "round-always-up",
        "redondear hacia arriba sea cual sea el dígito siguiente",
        "Busquen los dos vecinos en una recta numérica y comparen las distancias.",
    ),
    (
        "round-five-goes-down",
        "redondear hacia abajo cuando el dígito que decide es cinco",
        "Recuerden la regla acordada para los números que están justo a la mitad.",
    ),
    (
        "round-nine-becomes-ten",
        "escribir diez en una posición en vez de pasar a la izquierda",
        "Sigan contando: 3.8, 3.9, ¿y luego?",
    ),
    (
        "round-nine-loses-carry",
        "cambiar un nueve por cero sin subir la posición a su izquierda",
        "Pongan 3.96 en una recta numérica de 3.9 a 4.0: ¿qué extremo está más cerca?",
    ),
    (
        "story-stops-early",
        "dar un resultado intermedio como respuesta",
        "Que el estudiante diga con palabras qué representa el número que encontró.",
    ),
    (
        "story-operation-from-keyword",
        "elegir la operación por una palabra como «más» o «menos»",
        "Cuenten otra vez la historia con una barra para cada persona.",
    ),
    (
        "subtract-smaller-from-larger",
        "restar el dígito menor del mayor en cada columna",
        "Representen 7.42 − 3.18 con discos: ¿se pueden quitar 8 centésimas de 2?",
    ),
    (
        "subtract-exchange-without-trade",
        "sumar diez a una columna sin bajar la posición a su izquierda",
        "Tachen y vuelvan a escribir el dígito de la izquierda antes de restar.",
    ),
    (
        "subtract-zero-instead-of-exchange",
        "escribir cero donde el dígito de arriba es menor",
        "Comprueben sumando: ¿la diferencia más el número de abajo da el de arriba?",
    ),
    (
        "subtract-exchange-from-leftmost",
        "reagrupar siempre desde el dígito de más a la izquierda",
        "Nombren el cambio: una décima por diez centésimas.",
    ),
    (
        "subtract-ten-replaces-digit",
        "restar de diez en vez de diez más el dígito",
        "Pongan las dos centésimas y las diez nuevas y cuéntenlas juntas.",
    ),
    (
        "subtract-stops-at-zero",
        "dejar un cero sin cambiar cuando el reagrupamiento tiene que cruzarlo",
        "Cambien paso a paso: un entero por diez décimas, una de ellas por diez centésimas.",
    ),
    (
        "subtract-skips-zero",
        "saltar los ceros al reagrupar y dejarlos en cero",
        "Escriban arriba de 9.04 los dígitos tachados: ocho, nueve, catorce.",
    ),
    (
        "subtract-exchange-from-zero",
        "cambiar un cero por nueve sin bajar el dígito a su izquierda",
        "Comprueben sumando y miren qué posición tiene uno de más.",
    ),
    (
        "subtract-zero-becomes-ten",
        "que un cero tachado se vuelva diez y siga siendo diez",
        "Cuenten las décimas después de los dos cambios.",
    ),
    (
        "subtract-zero-minus-copies",
        "escribir el dígito de abajo donde el de arriba es cero",
        "Pregunte: no tienes centésimas y das seis; ¿de dónde salen?",
    ),
    ("subtract-zero-minus-zero", "escribir cero donde el dígito de arriba es cero", "Comprueben sumando."),
    (
        "subtract-minus-zero-gives-zero",
        "escribir cero donde el dígito de abajo es cero",
        "No quiten nada de ocho discos: ¿cuántos quedan?",
    ),
    (
        "subtract-copies-unfilled-places",
        "copiar los dígitos de abajo donde el número de arriba no tiene",
        "Escriban 6.3 como 6.30 antes de restar.",
    ),
    (
        "subtract-right-edge",
        "alinear los números por sus últimos dígitos en vez de por posición",
        "Escriba los dos números en papel de valor posicional y agregue ceros.",
    ),
    (
        "subtract-right-edge-first-point",
        "alinear los números por sus últimos dígitos y poner el punto donde lo tiene el primer número",
        "Pregunte qué queda de 12 metros si se corta solo una décima de metro.",
    ),
    (
        "subtract-two-whole-numbers",
        "restar la parte antes y la parte después del punto como dos números enteros",
        "Digan los números en décimas: setenta y cinco décimas menos…",
    ),
    (
        "subtract-shift-on-one-number",
        "subir el segundo número hasta un entero y dejar el primero como estaba",
        "Deslicen los dos números en una recta numérica: la distancia debe quedar igual.",
    ),
    (
        "subtract-shift-opposite-ways",
        "subir el segundo número y bajar el primero en la misma cantidad",
        "Comparen 5.02 − 2.98 y 5.04 − 3.00 en una recta numérica.",
    ),
    (
        "unit-wrong-direction",
        "multiplicar donde la conversión divide, o al revés",
        "Muestren las dos unidades con las manos o en una cinta antes de convertir.",
    ),
    (
        "unit-factor-ten",
        "convertir por diez donde hace falta otro factor",
        "Hagan una tabla de los prefijos con una cosa real para cada unidad.",
    ),
    (
        "unit-factor-hundred",
        "convertir por cien donde hace falta otro factor",
        "Comparen lo que dicen «centi», «mili» y «kilo».",
    ),
    (
        "unit-not-converted",
        "sumar o restar los números como están escritos, sin convertir unidades",
        "Subrayen las unidades de la tarea y escriban la pedida arriba de cada número.",
    ),
    (
        "unit-clock-as-decimal",
        "escribir los minutos como centésimas de hora",
        "Sombreen 30 minutos en un reloj y nombren la parte de una hora.",
    ),
    (
        "unit-cents-as-dollars",
        "contar centavos como dólares",
        "Pongan la cantidad en monedas y pregunte si es más de un dólar.",
    ),
    (
        "unit-cents-zero-dropped",
        "escribir menos de diez centavos justo después del punto",
        "Escriban 2 dólares 5 centavos y 2 dólares 50 centavos uno debajo del otro y compárenlos.",
    ),
];
