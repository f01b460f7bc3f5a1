# The pupil's pages.

quiz-points = { $count ->
    [one] { $count } point
   *[other] { $count } points
}
quiz-points-of = { $maximum ->
    [one] { $points } of { $maximum } point
   *[other] { $points } of { $maximum } points
}

# Start
quiz-about = About this quiz
quiz-welcome = These questions have numbers of your own. Take your time; you can save and come back.
quiz-welcome-again = Good to see you again.
quiz-fact-questions = Questions
quiz-fact-attempts = Attempts
quiz-attempts-used = { $used } of { $allowed } used
quiz-fact-later = Later steps
quiz-later-own = right from your own earlier answer counts
quiz-later-right = only the right value counts in each step
quiz-fact-until = Hand in until
quiz-fact-best = Your best so far
quiz-fact-gradebook = What your teacher gets
quiz-gradebook-preview = This is a preview: nothing goes to the gradebook.
quiz-gradebook-best = Your best attempt goes to the gradebook.
quiz-gradebook-none = Your teacher sees your points here; this course takes no grades from the quiz.
quiz-start = Start
quiz-try-again = Try again with new numbers
quiz-try-again-what = You get other questions of the same kinds, with other numbers. Your best attempt counts.
quiz-resume = Go on with your attempt
quiz-resume-saved = { $asked ->
    [one] Your attempt { $number } is open: { $answered } of { $asked } answer is saved.
   *[other] Your attempt { $number } is open: { $answered } of { $asked } answers are saved.
}
quiz-not-yet = This quiz is not open yet.
quiz-not-yet-opens = It opens on { $time }. Come back then.
quiz-over = This quiz has ended.
quiz-over-closed = It closed on { $time }. What you handed in stays here and counts.
quiz-finished = You have used all your attempts. Well done for working through them.
quiz-handed-in = Attempts you handed in
quiz-handed-in-points = { $maximum ->
    [one] Attempt { $number }: { $points } of { $maximum } point
   *[other] Attempt { $number }: { $points } of { $maximum } points
}
quiz-not-started-closed = No attempt was started, because the quiz is not open now.
quiz-not-started-used = All attempts are used, so no new one was started.

# An open attempt
quiz-attempt-of = Attempt { $number } of { $allowed }
quiz-count = { $count ->
    [one] { $count } question
   *[other] { $count } questions
}
quiz-started = Started on { $time }
quiz-until = Hand in until { $time }
quiz-minutes-left = { $minutes ->
    [one] { $minutes } minute left when this page was opened
   *[other] { $minutes } minutes left when this page was opened
}
quiz-saved = Saved.
quiz-saved-why = You can close this page and come back later. Everything you typed is kept.
quiz-empty = Not handed in yet.
quiz-empty-which = Your answers are saved, but these are still empty:
quiz-empty-next = Fill them in, or press “Hand in anyway” at the end of the page.
quiz-too-long = Please shorten.
quiz-too-long-which = These answers are too long, so they are not saved and nothing was handed in. An answer may have up to { $most } characters:
quiz-too-long-rest = Your other answers are saved.
quiz-too-long-field = This answer is too long. Please write a shorter one.
quiz-newer = Please check.
quiz-newer-which = These answers were changed on another page or computer after this page was opened. The newer answer was kept:
quiz-newer-text = { $field } You had written “{ $yours }” here.
quiz-newer-next = If you want your own again, write it once more. Your other answers are saved.
quiz-how-to-write = Write each answer as one number, such as { $example } or 3/4, unless words are asked for. You may add the unit or leave it out.
quiz-question = Question { $number }
quiz-question-of = Question { $number } of { $count }
quiz-field = Question { $number }: { $prompt }
quiz-in-words = Name the last place, too: tenths, hundredths or thousandths.
quiz-unit = { $unit ->
    [km] The answer is in kilometers.
    [m] The answer is in meters.
    [cm] The answer is in centimeters.
    [mm] The answer is in millimeters.
    [m2] The answer is in square meters.
    [cm2] The answer is in square centimeters.
    [kg] The answer is in kilograms.
    [g] The answer is in grams.
    [L] The answer is in liters.
    [mL] The answer is in milliliters.
    [mi] The answer is in miles.
    [yd] The answer is in yards.
    [ft] The answer is in feet.
    [in] The answer is in inches.
    [yd2] The answer is in square yards.
    [ft2] The answer is in square feet.
    [in2] The answer is in square inches.
    [lb] The answer is in pounds.
    [oz] The answer is in ounces.
    [gal] The answer is in gallons.
    [qt] The answer is in quarts.
    [pt] The answer is in pints.
    [cup] The answer is in cups.
    [fl-oz] The answer is in fluid ounces.
    [h] The answer is in hours.
    [min] The answer is in minutes.
    [s] The answer is in seconds.
    [dollar] The answer is in dollars.
    [cent] The answer is in cents.
   *[other] The answer is in { $unit }.
}
quiz-choose = choose
quiz-place = { $number }.
quiz-done = When you are done
quiz-done-what = You can save as often as you like. After you hand in, you see which answers were right and how each one works.
quiz-save = Save and go on later
quiz-hand-in = Hand in
quiz-hand-in-anyway = Hand in anyway

# One question at a time
quiz-next = Next question
quiz-back = Back
quiz-to-check = Check and hand in
quiz-all-questions = All questions
quiz-state-answered = answered
quiz-state-partly = partly answered
quiz-state-empty = still empty
quiz-check = Check your answers
quiz-check-full = Every question has an answer. You can still change them.
quiz-check-empty = { $count ->
    [one] One answer is still empty:
   *[other] { $count } answers are still empty:
}
quiz-check-back = Back to the questions

# Keeping what is typed
quiz-keep-ready = What you type is saved by itself.
quiz-keep-saving = Saving …
quiz-keep-saved = Saved
quiz-keep-offline = No connection: your answers are kept on this computer and sent when it is back.
quiz-keep-offline-page = No connection: leave this page open, and your answers are sent when it is back.
quiz-keep-busy = Very many people are working right now. Nothing is lost: leave this page open, and it is sent again in a moment.
quiz-keep-signed-out = Your time here has run out. Your answers are kept on this computer: open the quiz from your course again.
quiz-keep-signed-out-page = Your time here has run out. Write down your last answers, then open the quiz from your course again.
quiz-keep-newer = A newer answer from another page or computer is shown in the fields with a mark.
quiz-keep-closed = This attempt was handed in already. Reload the page to see the result.
quiz-keep-restored = What you typed before the connection broke is here again.
quiz-keep-too-long = One answer is too long and is not saved. Please shorten it.
quiz-keep-no-hand-in = Not handed in: there is no connection. Everything you typed is kept. Press “Hand in” again when it is back.

# The place-value grid
quiz-grid-open = Write it in a place-value grid
quiz-grid-close = Put the grid away
quiz-grid-name = Place-value grid. What you type here appears in the field. The arrow keys move from place to place.
quiz-grid-gap = There is an empty place between your digits. If there is none of it, write 0.
quiz-grid-other = What is in the field does not fit into the grid. Typing here writes over it.
quiz-grid-places = ten thousands,thousands,hundreds,tens,ones,tenths,hundredths,thousandths

# The result
quiz-result-title = { $title }: your result
quiz-your-points = Your points
quiz-score-of = { $maximum ->
    [one] of { $maximum } point
   *[other] of { $maximum } points
}
quiz-best = { $maximum ->
    [one] Your best so far: { $points } of { $maximum } point.
   *[other] Your best so far: { $points } of { $maximum } points.
}
quiz-no-more = This was your last attempt.
quiz-no-more-closed = The quiz does not take new attempts now.
quiz-ended = The quiz has ended. What you had saved was handed in for you, and it counts. Here is your result.
quiz-to-start = Back to the start of the quiz
quiz-your-answer = Your answer:

# Practice
quiz-practice = Practice with new numbers
quiz-practice-title = { $title }: practice
quiz-practice-what = Questions of the kinds that were not right yet, with other numbers. They are marked at once. Nothing of it is kept or sent to the gradebook.
quiz-practice-check = See how I did
quiz-practice-more = More practice
quiz-practice-none = Everything was right: there is nothing to practice.
quiz-practice-done = Practice: { $points } of { $maximum }
