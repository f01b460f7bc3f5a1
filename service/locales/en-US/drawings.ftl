# Workings drawn, charts, and marked questions.

# Numbers for listeners
drawings-said-point = { $whole } point { $parts }
drawings-said-comma = { $whole } comma { $parts }
drawings-said-fraction = { $above } over { $below }
drawings-said-power = { $base } to the power of { $exponent }

# Charts
drawings-as-table = The same as a table
drawings-table = Table
drawings-legend = What the signs mean
drawings-pupil = Pupil
drawings-cell-right = Right
drawings-cell-own = Right from the earlier answer
drawings-cell-form = Partly right, or in another form
drawings-cell-wrong = Not right yet
drawings-cell-blank = Empty
drawings-cell-none = Not handed in
drawings-map-summary = Pupils: { $pupils }. Questions: { $questions }. Right answers: { $right } of { $all }.
drawings-count-of = { $count } of { $whole }
drawings-percent = { $share }%
drawings-share = { $at }, between { $low } and { $high }
drawings-share-heading = Share
drawings-from = From
drawings-to = To
drawings-too-few = Too few pupils to tell

# Workings: titles of pictures
drawings-title-add = Addition in columns
drawings-title-subtract = Subtraction in columns
drawings-title-multiply = Long multiplication
drawings-title-divide = Long division
drawings-title-round = Rounding
drawings-title-compare = Numbers compared by place
drawings-title-order = Numbers in order
drawings-title-place = A digit and its place
drawings-line-title = The same difference on a number line

# Places
drawings-place-thousands = thousands
drawings-place-hundreds = hundreds
drawings-place-tens = tens
drawings-place-ones = ones
drawings-place-tenths = tenths
drawings-place-hundredths = hundredths
drawings-place-thousandths = thousandths
drawings-place-ten-thousandths = ten-thousandths
drawings-place-other = next place

# Workings in words
drawings-told-annexed = Zeros fill the empty places after the last digit.
drawings-told-carry = { $digit } is carried to the { $place }.
drawings-told-exchange = In the { $place }, { $old } becomes { $new }.
drawings-told-sum = The sum is { $number }.
drawings-told-difference = The difference is { $number }.
drawings-told-places = { $places ->
    [one] Together the factors have { $places } decimal place, and so has the product.
   *[other] Together the factors have { $places } decimal places, and so has the product.
}
drawings-told-product = The product is { $number }.
drawings-told-made-whole = Both numbers are made { $times } times as large, so that you divide by a whole number: { $from } ÷ { $by } = { $to } ÷ { $whole }.
drawings-told-quotient = The quotient is { $number }.
drawings-told-quotient-begins = The quotient begins with { $number }, and something is left over.
drawings-told-quotient-rounded = Rounded, it is { $number }.
drawings-told-decides-down = The { $digit } in the { $place } decides: it is less than 5, so you round down.
drawings-told-decides-up = The { $digit } in the { $place } decides: it is 5 or more, so you round up.
drawings-told-rounded = { $number } becomes { $rounded }.
drawings-told-differ = Going from the left, the numbers first differ in the { $place }.
drawings-told-alike = The numbers have the same digit in every place.
drawings-told-less = { $left } is less than { $right }.
drawings-told-equal = { $left } is equal to { $right }.
drawings-told-greater = { $left } is greater than { $right }.
drawings-told-ascending = From the smallest to the largest: { $numbers }.
drawings-told-descending = From the largest to the smallest: { $numbers }.
drawings-told-place = In { $number }, the digit in the { $place } is { $digit }.
drawings-told-worth = { $number } is { $whole } and { $parts }.
drawings-told-shift = Raise both numbers by { $shift }: { $low } becomes { $lowRaised } and { $high } becomes { $highRaised }, and the difference stays { $difference }.

# Marked questions
drawings-marked-question = Question { $number }
drawings-marked-step = Step { $step }
drawings-marked-points = { $maximum ->
    [one] { $points } of { $maximum } point
   *[other] { $points } of { $maximum } points
}
drawings-marked-gone = This question is no longer in the pool.
drawings-marked-no-answer = No answer
drawings-marked-how = How it works
drawings-marked-own-working = Worked from the earlier answer that was given:
drawings-marked-answer = The answer:
drawings-marked-answer-earlier = With the right earlier answer it is
drawings-verdict-right = Right
drawings-verdict-own = Right from the earlier answer
drawings-verdict-form = Right value, other form
drawings-verdict-wrong = Not right yet
drawings-verdict-unreadable = Could not be read
drawings-verdict-blank = Empty
drawings-why-own = You went on correctly from your own earlier answer, so you get the points for this step.
drawings-why-own-teacher = Right when worked from the pupil's own earlier value; full points for this step.
drawings-why-unknown = Compare your way with the working below: where does yours take another turn?
drawings-why-one-of = One of these may have happened:
drawings-why-unknown-teacher = No known misunderstanding leads to this answer.
drawings-why-teacher = Answers consistent with { $reason }. Next: { $next }
