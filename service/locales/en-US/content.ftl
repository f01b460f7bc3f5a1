# The coordinator's pages: families, plans, pools, packages.

content-families = Question families
content-families-found = { $count ->
    [one] One family
   *[other] { $count } families
}
content-families-none = No family fits this choice.
content-choose = Choose
content-search = Show
content-any = any
content-code = Curriculum code
content-level = Level of difficulty
content-column-family = Family
content-column-codes = Aligned to
content-column-level = Levels
content-column-holds = Holds
content-holds-questions = { $count } questions
content-holds-numbers = numbers for at most { $count } questions
content-holds-bound = at most { $count } questions
content-name = Name in plans
content-about = About this family
content-samples = Samples
content-samples-about = Each pupil gets other numbers. These are three of them, with answers folded away.
content-more-samples = Other samples
content-sample = Sample { $number }
content-question = Question { $number }
content-answers = Answers, and what wrong ones are consistent with
content-answer = { $prompt } { $answer }
content-wrong = { $answer }: answers consistent with { $names }
content-pools = Question pools
content-pools-loaded = Pools that teachers can place
content-pools-none = No pool is loaded yet. Make one from a plan.
content-column-pool = Pool
content-column-id = Id
content-column-questions = Questions
content-column-placed = Placed
content-new-pool = Make a pool
content-plan-title = Title for teachers
content-plan-language = Language of the questions
content-plan-section = Section
content-choose-one = choose
content-level-from = Difficulty from
content-level-to = Difficulty to
content-plan-count = Questions in the pool
content-plan-count-hint = So many different questions are drawn and proven.
content-plan-pick = Questions for one pupil
content-plan-pick-hint = So many of them one pupil gets when the whole pool is one test.
content-plan-add-heading = Add a section
content-plan-add = Add this section
content-plan-heading = The plan
content-plan-text = Plan as a file (TOML)
content-plan-text-hint = Sections that you add appear here. You can also paste a plan file, or keep this text as one.
content-plan-make = Make it and look
content-plan-load = Load it for teachers
content-plan-made = Made and proven: { $questions } questions in { $sections ->
    [one] one section
   *[other] { $sections } sections
}. It is not loaded yet.
content-plan-fault = This plan makes no pool: { $problem }
content-fault-malformed = line { $line }, column { $column }: { $message }
content-fault-family = section { $section }: there is no family “{ $family }”.
content-fault-code = section { $section }: no family is for { $code }; there are families for { $known }
content-fault-none = section { $section }: there are no such questions in { $locale }: { $asked }.
content-fault-too-few = section { $section }: { $wanted } questions are asked for ({ $asked }), and these different ones were found: { $families }.
content-fault-used-up = { $family } { $count }
content-fault-given-up = { $family } { $count }, then none of these levels in a long row
content-fault-draw = section { $section }: a question could not be drawn: { $message }
content-fault-id = “{ $id }” is no usable id. An id starts with a letter, holds letters, digits and hyphens only, and is there once.
content-fault-pick = section { $section } has { $items } questions, and one pupil shall get { $pick } of them.
content-fault-empty = it has no section.
content-asked-family = family “{ $family }”
content-asked-codes = curriculum code { $codes }
content-asked-level = level { $level }
content-asked-levels = levels { $from } to { $to }
content-asked-kind = kind of answer: { $kind }
content-plan-lacks = A section needs a name and a curriculum code; the first one also the pool’s title.
content-plan-numbers = Please give both numbers of questions; one pupil cannot get more than the pool has.
content-plan-levels = The difficulty has to go from the lower level to the higher one.
content-pool-in-use = A pool with this id is placed in courses and holds other questions. Change the id in the plan.
content-sections = Sections
content-spread = Forms of { $count } questions differ little in difficulty: their scores lie between { $least } and { $greatest }.
content-export = Package for a learning platform
content-export-about = A package holds all questions of the pool with their answers. Only those who build courses should get it.
content-export-as = Standard and version
content-export-templates = Items that the platform varies itself, where the standard can express them
content-export-button = Make the package
content-exporting = Package of { $title }
content-no-format = Choose a standard from the list
content-too-many-jobs = Ten jobs of yours are still being worked on. Wait until one is done
content-pool-file = The pool as a file
content-examine = Try out a package
content-examine-heading = A package before a platform loads it
content-examine-about = The package is opened, and every item is run with right and wrong answers. Nothing of it is kept. What was found is told in English.
content-examine-file = Package (.zip or .imscc, up to 64 MB)
content-examine-button = Try it out
content-examine-nothing = Please choose a package first.
content-examining = Trying out { $name }
content-job = How it stands
content-job-waits = It has begun.
content-job-percent = { $percent } % done.
content-job-again = Look again
content-job-done = Done.
content-job-doubts = Done. Something does not hold; read below what.
content-job-failed = It came to nothing. Below stands why, as far as that is known.
content-job-file = Download { $name } ({ $bytes } bytes)
content-job-drop = Forget it
content-jobs-heading = What you asked for
content-jobs-about = Packages are made and tried out in the background. What they came to is kept for a day.
content-jobs-none = Nothing is being worked on, and nothing was in the last day.
content-jobs-column-what = What
content-jobs-column-when = Begun
content-jobs-column-state = How it stands
content-jobs-column-do = What to do
content-jobs-all = All that is worked on
content-job-cancel = Stop it
content-job-cancel-label = Stop “{ $title }”
content-job-drop-label = Forget “{ $title }”
content-job-interrupted = Interrupted: the service stopped while it was working on this. Please start it again.
content-job-cancelled = You stopped it.
content-job-failed-short = It came to nothing.
content-job-doubts-short = Done; something does not hold.
content-plan-too-large = This plan asks for more than { $most } questions. Larger pools are made by the command tenths pool.

content-kind-number = a number
content-kind-choice = one of several choices
content-kind-order = an order
content-kind-words = a number in words
content-column-kinds = Answers
content-plan-kind = Kind of answer
content-plan-kind-hint = Each question asks at least once for an answer of this kind.
content-plan-look = How many are there?
content-plan-look-lacks = Choose a curriculum code first.
content-plan-download = Keep it as a file
content-plan-upload-heading = A plan that you have
content-plan-upload = Plan file (.toml)
content-plan-upload-hint = As the command tenths pool takes it, up to 256 kB. Nothing is made before you have seen it above.
content-plan-upload-button = Open it
content-plan-no-text = This file is no text, so it is no plan.
content-plan-read = { $title }: a plan with { $sections ->
    [one] one section
   *[other] { $sections } sections
}.
content-supply = What there is for this choice
content-supply-none = No family has such questions in this language. Choose another code or kind.
content-supply-most = Up to { $count } different questions. A pool holds none of them twice.
content-supply-about = About { $count } different questions of these levels. A pool holds none of them twice.
content-supply-sampled = That is estimated: some questions of each family were drawn, to see how many are of these levels.
content-column-of-levels = Of these levels
content-of-levels = { $hits } of { $drawn } drawn
content-placed = Where it is placed
content-placed-nowhere = nowhere yet
content-placed-at = { $times ->
    [one] once
   *[other] { $times } times
} in { $courses ->
    [one] one course
   *[other] { $courses } courses
} of { $issuer }
content-pools-page = Page { $page } of { $pages }
content-pools-earlier = The pools before these
content-pools-later = More pools
