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
paper-key-about = Each sheet has its own numbers; find it by its code. In small letters: what else counts, and wrong answers, each with what it is consistent with; a hint where to look, not a judgement.
paper-key-interval = Every value from { $from } to { $to } counts.
paper-key-answer = { $answer } ({ $points })
paper-key-wrong = { $answer }: { $names }

# The teacher's pages for them.

paper-link = On paper: print sheets, type answers in
paper-heading = On paper: { $title }
paper-about = Print a sheet for each pupil, each with its own numbers and a code. Afterwards type the answers in by code: they are marked and graded like any other attempt.
paper-class = Back to the class
paper-make = Make sheets
paper-for-class-about = { $pupils ->
    [one] One pupil of your class list gets a sheet with the name on it.
   *[other] Each of the { $pupils } pupils of your class list gets a sheet with the name on it, unless one is waiting already.
}
paper-for-class = Make sheets for the class
paper-unnamed = Sheets without a name
paper-make-unnamed = Make them
paper-count = Please choose between 1 and { $most } sheets.
paper-nobody = Every pupil of the class list has a sheet that waits.
paper-print = Print
paper-waiting = { $count ->
    [one] One sheet waits to be printed or typed in.
   *[other] { $count } sheets wait to be printed or typed in.
}
paper-squares = Squares to work in
paper-two-sided = For printing on both sides: each sheet begins on a new leaf
paper-workings = Workings in the key
paper-size = Paper
paper-sheets-pdf = Sheets as PDF
paper-key-pdf = Key as PDF
paper-browser = Sheets in the browser
paper-print-how = Print this page from your browser’s menu; each sheet begins on a new page.
paper-back = Back to the list of sheets
paper-enter = Type answers in
paper-type-code = Code of the sheet
paper-open-sheet = Open the sheet
paper-type-in = Type in { $code }
paper-typed = typed in: { $points } of { $maximum }
paper-list = All sheets
paper-column-code = Code
paper-column-pupil = Pupil
paper-column-state = Answers
paper-no-pupil = not named yet
paper-enter-heading = Sheet { $code }
paper-whose = Whose sheet is this?
paper-choose = choose
paper-as-written = Type each answer as it is written on the sheet; leave empty what is empty there.
paper-hand-in = Mark and hand in
paper-no-code = A sheet’s code has eight letters and digits, such as K7QD-M3XP.
paper-mistyped = This code cannot be right: one of its signs is wrong, or two have changed places. Please look at the sheet again.
paper-other-quiz = This sheet belongs to another quiz. Open that quiz in your course to type it in.
paper-unknown = No sheet of this quiz has that code.
paper-choose-pupil = Please choose whose sheet this is.
paper-too-long = One of the answers is too long. Please shorten it.
paper-anothers = This sheet was typed in for another pupil.
paper-open-attempt = This pupil has begun the quiz on the screen. That attempt has to be handed in, or the pupil’s work reset, before a sheet can be typed in.
paper-used-up = This pupil has used all attempts. Allow another one on the class page, or reset the pupil’s work.
