# Printed sheets and keys.

paper-name = Name
paper-date = Date
paper-code = Sheet { $code }
paper-margin = { $code }   { $title }
paper-page = page { $page } of { $pages }
paper-question = Question { $number }
paper-points = { $count ->
    [one] { $count } point
   *[other] { $count } points
}
paper-answer = Answer:
paper-in-words = Write the number in words, with its last place: tenths, hundredths or thousandths.
paper-order = Write one letter on each line, in the order that is asked for.

paper-key-title = Key: { $title }
paper-key-about = Each sheet has its own numbers; find it by its code. In small letters: wrong answers, each with what it is consistent with; a hint where to look, not a judgement.
paper-key-answer = { $answer } ({ $points })
paper-key-wrong = { $answer }: { $names }
