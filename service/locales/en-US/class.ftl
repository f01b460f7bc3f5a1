# The teacher's pages.

# What all pages of a class share.
class-views = Views of this class
class-view-needs = Who needs what
class-view-grades = Points and grades
class-view-times = Times
class-back = Back to the class
class-back-to-grades = Back to points and grades
class-pupil = Pupil
class-pupil-label = Pupil { $signs }
class-preview-user = preview, not counted
class-no-pupil = not a pupil, not counted
class-left = left the course

# This quiz, in a few facts.
class-this-quiz = This quiz
class-pool = Question pool
class-questions-each = Questions for each pupil
class-attempts-each = Attempts for each pupil
class-open = Open to pupils
class-open-always = at any time
class-open-from = from { $opens }
class-open-until = until { $closes }
class-open-between = from { $opens } until { $closes }
class-not-yet-from = not yet: from { $opens }
class-not-yet-between = not yet: from { $opens } until { $closes }
class-over-until = not any more: until { $closes }
class-over-between = not any more: from { $opens } until { $closes }
class-open-change = Change
class-open-by-course = (set by your course)
class-marking = What earns points
class-marking-own = A step that is right from the pupil’s own earlier value earns points.
class-marking-only = Only the right value earns points, whatever the pupil’s own earlier value.
class-marking-own-form-none = A step that is right from the pupil’s own earlier value earns points. The right value in another form: no points.
class-marking-own-form-part = A step that is right from the pupil’s own earlier value earns points. The right value in another form: half the points.
class-marking-own-form-full = A step that is right from the pupil’s own earlier value earns points. The right value in another form: all points, with a note.
class-marking-only-form-none = Only the right value earns points, whatever the pupil’s own earlier value. The right value in another form: no points.
class-marking-only-form-part = Only the right value earns points, whatever the pupil’s own earlier value. The right value in another form: half the points.
class-marking-only-form-full = Only the right value earns points, whatever the pupil’s own earlier value. The right value in another form: all points, with a note.
class-handed-in = Pupils who handed in
class-handed-in-listed = { $done } of { $all } pupils, { $started } have started
class-handed-in-started = { $done } of { $started } who started
class-no-grades-taken = The course does not take grades for this quiz, so none are sent. Points stay visible here.
class-facts = About this quiz

# Who needs what.
class-needs = Who needs what
class-needs-none = No misunderstanding shows in several answers of a pupil yet. One answer is not enough to name one.
class-needs-empty = As soon as pupils hand in, this page says who needs what. Reload it to see news.
class-needs-pupils = { $count ->
    [one] 1 pupil
   *[other] { $count } pupils
  }
class-needs-evidence = { $hits } of { $shown } answers
class-needs-what = Answers consistent with { $what }.
class-needs-either = Answers consistent with { $one }, or with { $other }.
class-needs-next = What to do next
class-needs-board = { $count ->
    [one] A question for the board
   *[other] { $count } questions for the board
  }
class-needs-board-why = They show this misunderstanding, and no pupil is at work on them now.
class-needs-board-none = The pool has no free question left that shows it.
class-needs-answer = Show the answer
class-needs-answer-is = Answer: { $answer }

# Pupils by questions.
class-map = The class at a glance
class-map-caption = Each pupil’s best attempt, question by question. Every pupil has numbers of their own; questions in one column are of the same kind.
class-map-question = Question { $number }
class-map-total = Points
class-map-open = at work
class-map-cell = { $points } of { $most }
class-map-table = Points of each question, with links
class-map-links = A name leads to the pupil’s best attempt.
class-map-past = Go past the table
class-map-right = right
class-map-own = right, by the pupil’s own earlier value
class-map-part = partly right, or in another form
class-map-wrong = not right yet
class-map-blank = empty
class-map-changed = points changed by you

# The class list.
class-list = Class list
class-list-waiting = Not started yet: { $count }
class-list-none = Your course does not share its class list, so pupils appear here once they open the quiz.
class-list-read = Class list of your course, read { $time }.
class-list-stale = The class list could not be read again: { $problem }. This is how it was { $time }.
class-list-failed = The class list of your course could not be read: { $problem }. Pupils appear here once they open the quiz.
class-list-soon = The class list of your course is being read. Reload this page in a moment.
class-list-again = Read the class list again

# Points and grades.
class-grades-none = No pupil has started yet
class-grades-none-why = As soon as a pupil opens the quiz in your course, they appear here. Reload this page to see news.
class-grades = Pupils, best points first
class-grades-best = Best
class-grades-attempts = Attempts
class-grades-gradebook = Grade in the gradebook
class-grades-not-handed-in = not handed in yet
class-grades-points = { $points } of { $most }
class-grades-attempt = { $number }: { $points } of { $most }
class-grades-attempt-open = { $number }: open
class-grades-download = All answers as a table (CSV)
class-grades-download-why = One row a step, for a spreadsheet. A text that a spreadsheet would take for a formula has an apostrophe before it; plain numbers, negative ones too, stay as they are.
class-send-again = Send again
class-send-again-of = Send again: { $pupil }
class-send-ours = Send ours
class-send-ours-of = Send ours: { $pupil }
class-send-ours-after-all = Send ours after all
class-send-ours-after-all-of = Send ours after all: { $pupil }
class-keep-theirs = Keep the gradebook’s
class-keep-theirs-of = Keep the gradebook’s: { $pupil }
class-more = Another attempt, or anew
class-more-of = Another attempt, or anew: { $pupil }
class-allow = Allow one more attempt
class-allow-of = Allow one more attempt: { $pupil }
class-allow-why = { $pupil } may have { $allowed ->
    [one] 1 attempt
   *[other] { $allowed } attempts
  } now. The best one counts.
class-allowed-extra = { $extra ->
    [one] 1 attempt more than the others
   *[other] { $extra } attempts more than the others
  }
class-reset-why = All attempts of this pupil are set aside, the grade is taken back, and the pupil can begin anew. The attempts stay on record.
class-reset = Reset this pupil’s work
class-reset-of = Reset the work of { $pupil }

# Where a grade is.
class-grade-nothing = nothing to send yet
class-grade-preview = not sent (preview)
class-grade-not-sent = not sent
class-grade-delivered = delivered
class-grade-begun = has begun
class-grade-reset = reset: grade taken back
class-grade-waiting = waiting
class-grade-begin-failed = beginning could not be told
class-grade-failed = could not be delivered
class-grade-held = held: the gradebook has another mark
class-grade-kept = not sent: the gradebook’s mark stays
class-grade-retried = Last try: { $problem }. Waiting since { $since }, tried again by itself at { $next }.
class-grade-parked = { $problem }. Since { $since }.
class-grade-ours = Ours: { $points } of { $most }
class-grade-sent = { $points } of { $most }
class-grade-missing = The gradebook shows no mark.
class-grade-shows = The gradebook shows { $mark }.
class-grade-own = The gradebook has a mark of its own: { $mark }.

# The gradebook.
class-gradebook = The gradebook
class-gradebook-waiting = { $count ->
    [one] 1 message on the way, since { $since }.
   *[other] { $count } messages on the way, the first since { $since }.
  }
class-gradebook-parked = { $count ->
    [one] 1 message not deliverable as things are, since { $since }.
   *[other] { $count } messages not deliverable as things are, the first since { $since }.
  }
class-gradebook-held = { $count ->
    [one] 1 message held until you choose, since { $since }.
   *[other] { $count } messages held until you choose, the first since { $since }.
  }
class-gradebook-quiet = Nothing is waiting.
class-gradebook-send = Send the undelivered grades again
class-gradebook-compare = Compare with the gradebook now
class-gradebook-takes-none = The course takes no grades for this quiz, so there is nothing to compare.
class-gradebook-unread = The platform does not let us read its gradebook: a mark that was changed there is not seen here, and a later better grade replaces it.
class-gradebook-failed = Comparing did not work at { $time }: { $problem }.
class-gradebook-same = Compared at { $time }: the gradebook shows what was delivered.
class-gradebook-differs = { $count ->
    [one] Compared at { $time }: 1 pupil’s mark differs, see above.
   *[other] Compared at { $time }: { $count } pupils’ marks differ, see above.
  }

# One attempt.
class-attempt = This attempt
class-attempt-progress = Attempt { $number }, handed in { $time }
class-attempt-points = { $points } of { $most } points
class-attempt-of = of { $most } points
class-attempt-answer = Answer:
class-points-changed = Changed by your teacher, from { $before } to { $after } points: { $reason }
class-points-changed-by-you = You changed the points from { $before } to { $after }: { $reason }
class-points = Change the points
class-points-of = Change the points of question { $question }, step { $step }
class-points-new = Points, from 0 to { $most }
class-points-reason = Reason
class-points-reason-hint = The pupil reads it beside the answer.
class-points-save = Save the new points
class-points-undo = Back to our points ({ $points })
class-points-not-so-many = the points must be a whole number from 0 to { $most }
class-points-no-reason = a reason is needed, in up to { $most } letters; the pupil reads it
class-points-no-step = this attempt has no such step
class-no-such-choice = the choice is neither send_ours nor keep_theirs
class-no-pupil-named = the form names no pupil
class-too-many-attempts = more than { $most } attempts for one pupil are not possible

# Placing a quiz.
class-place = Place a quiz in your course
class-place-lead = Every pupil gets their own questions from the pool you choose. Grades go back to your gradebook by themselves.
class-place-no-column = Your course takes no gradebook column from this page. Pupils can work and you see their points here; grades are sent only if the course makes a column by itself.
class-place-no-pool = No question pool is loaded yet
class-place-no-pool-why = Ask the person who looks after tenths at your school or district to load a pool. Then open this page again.
class-place-no-pool-back = Go back without placing a quiz
class-place-nothing = No question pool is loaded yet, so no quiz was placed. Ask the person who looks after tenths.
class-place-quiz = Quiz { $number }
class-place-pool = Question pool
class-place-pool-questions = { $count ->
    [one] 1 question
   *[other] { $count } questions
  }
class-place-pool-aligned = { $count ->
    [one] 1 question, aligned to { $codes }
   *[other] { $count } questions, aligned to { $codes }
  }
class-place-pool-aligned-more = { $count ->
    [one] 1 question, aligned to { $codes } and { $more } more
   *[other] { $count } questions, aligned to { $codes } and { $more } more
  }
class-place-runs = How the quiz runs
class-place-title = Title that pupils see
class-place-title-hint = May stay empty: the pool’s title is used.
class-place-questions = Questions for each pupil
class-place-questions-hint = From 1 to { $most }, and no more than the pool holds.
class-place-attempts = Attempts for each pupil
class-place-attempts-hint = From 1 to { $most }. Each attempt has new numbers. The best attempt counts for the gradebook.
class-place-one = One question at a time
class-place-one-hint = Without it, all questions stand on one page.
class-place-more = Title, times, and what earns points
class-place-more-hint = May stay as it is
class-place-when = When pupils can work on it
class-place-when-hint = What stays empty has no limit. Your course may change dates later; then its dates hold. At the end, answers that a pupil saved are handed in by themselves, so nothing is lost.
class-place-zone = Time zone of all dates and times on this page
class-place-follow = A later step counts when it is right from the pupil’s own earlier value
class-place-follow-hint = One slip then costs once. Without it, only the right value counts.
class-place-released = Pupils see their grade in the course as soon as it is there
class-place-released-hint = Without it the course is asked to keep the grade back until you release it there. The result on the quiz’s own page is always shown.
class-place-form = The right value in another form than asked for
class-place-form-hint = For example 2.5 where money wants 2.50. Pupils read it beside the field before they answer.
class-place-form-each = What each question says
class-place-form-none = No points
class-place-form-part = Half the points
class-place-form-full = All points, with a note
class-place-leave-out = Leave this quiz out after all
class-place-preview = See what three pupils get
class-place-button = { $count ->
    [one] Place this quiz
   *[other] Place these { $count } quizzes
  }
class-place-another = Add another quiz
class-place-cancel = Go back without placing
class-place-placed = { $count } quizzes were placed.
class-place-choose-pool = Please choose a question pool.
class-place-choose-zone = Please choose a time zone from the list.
class-place-of-quiz = Quiz { $number }: { $problem }
class-place-long-title = The title may have up to { $most } characters.
class-place-past = The end lies in the past, so no pupil could start.
class-place-bad-questions = The number of questions for each pupil must be a whole number from 1 to { $most }.
class-place-bad-attempts = The number of attempts for each pupil must be a whole number from 1 to { $most }.

# What pupils would get.
class-preview = What three pupils would get
class-preview-lead = Three of the many versions. They are alike in kind and difficulty, with other numbers. Pupils do not see answers before they hand in.
class-preview-pupil = Pupil { $number }
class-preview-question = Question { $number }
class-preview-answers = Answers
class-preview-change = Change something
class-preview-numbers = { $questions ->
    [one] 1 question for each pupil, { $attempts ->
        [one] 1 attempt
       *[other] { $attempts } attempts
      }, up to { $points } points.
   *[other] { $questions } questions for each pupil, { $attempts ->
        [one] 1 attempt
       *[other] { $attempts } attempts
      }, up to { $points } points.
  }

# When a quiz is open.
class-times = When pupils can work on it
class-times-hint = What stays empty has no limit. At the end, answers that a pupil saved are handed in by themselves; what was handed in stays so, also when you open the quiz again.
class-times-zone = Time zone of these times
class-times-button = Change the times
class-times-by-course = Your course sets the times of this quiz; please change them there.
class-times-available-from = Pupils can open it from
class-times-available-until = Pupils can open it until
class-times-submission-from = Pupils can start from
class-times-submission-until = Pupils can hand in until
class-times-bad = { $which ->
    [available-from] "pupils can open it from" must be a date and a time such as 2026-03-02 09:15.
    [available-until] "pupils can open it until" must be a date and a time such as 2026-03-02 09:15.
    [submission-from] "pupils can start from" must be a date and a time such as 2026-03-02 09:15.
   *[submission-until] "pupils can hand in until" must be a date and a time such as 2026-03-02 09:15.
  }
class-times-order = The end must come after the beginning, also between the two windows.
