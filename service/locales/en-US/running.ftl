# The coordinator's pages: signing in, platforms, tokens, deliveries, use, audit.

running-pages = Pages for coordinators
running-page-overview = Overview
running-page-families = Families
running-page-pools = Pools
running-page-examine = Try out
running-page-jobs = Background
running-page-platforms = Platforms
running-page-tokens = Tokens
running-page-deliveries = Grades
running-page-use = Use
running-page-audit = Changes
running-sign-in = Coordination
running-sign-in-heading = Sign in
running-sign-in-token = Your token
running-sign-in-hint = A token for coordinators, made on these pages or by whoever looks after the service.
running-sign-in-button = Sign in
running-sign-in-refused = This token opens nothing here. It may have ended, or be meant for something else.
running-sign-out = Sign out
running-signed-in = You
running-signed-in-as = You are signed in with the token { $token }. What you change is noted under its name.
running-attention = What needs somebody
running-attention-none = Nothing just now.
running-need-parked = { $count ->
    [one] One grade could not be delivered
   *[other] { $count } grades could not be delivered
}
running-need-held = { $count ->
    [one] One grade is held until its teacher chooses
   *[other] { $count } grades are held until their teachers choose
}
running-need-approval = { $count ->
    [one] One deployment waits for approval
   *[other] { $count } deployments wait for approval
}
running-need-token = { $count ->
    [one] One token ends within two weeks
   *[other] { $count } tokens end within two weeks
}
running-need-key = { $count ->
    [one] One signing key is leaving
   *[other] { $count } signing keys are leaving
}
running-counts = At a glance
running-count-platforms = Platforms
running-count-pools = Pools
running-count-quizzes = Placed quizzes
running-count-waiting = Grades on their way
running-registered = Registered platforms
running-no-platform = No platform is registered yet. Invite one, or add it below.
running-column-issuer = Platform
running-column-client = Our name there (client id)
running-column-deployments = Deployments
running-column-deployment = Deployment
running-column-do = Do
running-column-since = Since
running-column-name = Name
running-column-for = For
running-column-state = State
running-column-ends = Ends
running-column-made = Made
running-column-role = May
running-column-used = Last used
running-column-pupil = Pupil
running-column-quiz = Quiz
running-column-why = Why
running-column-when = When
running-column-what = What
running-column-who = Who
running-column-detail = Detail
running-column-course = Course
running-column-quizzes = Quizzes
running-column-pupils = Pupils
running-column-attempts = Attempts
running-column-share = Share of points
running-column-family = Family / step
running-column-facility = Share of points
running-column-most = Most frequent wrong answers are consistent with
running-remove = Remove
running-remove-label = Remove { $issuer }
running-remove-asks = Nothing has been removed yet.
running-remove-tells = With { $issuer } everything below it is deleted: { $quizzes ->
    [one] one placed quiz
   *[other] { $quizzes } placed quizzes
}, all attempts, and grades that wait. This cannot be undone.
running-remove-sure = Remove it with all of that
running-remove-not = Keep it
running-waiting = Deployments that wait for approval
running-waiting-about = They have launched from a registered platform but are not known yet.
running-none-waiting = None waits.
running-approve = Approve
running-approve-label = Approve deployment { $deployment }
running-invitations = Invitations
running-invitations-about = With an invitation a platform’s administrator registers it without typing addresses. It works once, for a week.
running-no-invitation = No invitation was made yet.
running-invite = Make an invitation
running-invite-for = Whom it is for
running-invited = Send this address to the platform’s administrator. It is shown this once.
running-revoke = Take back
running-revoke-label = Take back { $name }
running-state-open = open
running-state-used = used
running-state-revoked = taken back
running-state-ended = ended
running-state-valid = valid
running-keys = Signing keys
running-keys-about = A new key is published at once and signs after a day, so that the platform can learn of it.
running-no-key = No key is published.
running-key-waiting = signs later
running-key-signing = signs
running-key-leaving = leaves
running-key-retired = left
running-rotate = New key
running-rotate-label = New key for { $issuer }
running-rotate-fault = No new key was made: one waits already.
running-authorization-url = Authorization address
running-token-url = Token address
running-keys-url = Address of the public keys
running-add = Add the platform
running-add-heading = Add a platform by hand
running-add-about = The platform’s administrator finds these where the tool was registered there.
running-tokens-about = A token lets a program, or a coordinator, in. It is shown once, when it is made.
running-token-yours = { $note } (yours)
running-token-for = What it is for
running-token-days = Days until it ends
running-make-token = Make a token
running-token-made = Copy this token now. It is shown this once.
running-token-fault = A token lasts from 1 to 400 days and has one of the roles of the list.
running-role-coordinator = everything: coordinator
running-role-teacher = read marks, score: teacher
running-role-auditor = only read: auditor
running-never = never
running-deliveries = Grades that are not in the gradebook yet
running-delivery-waiting = On their way
running-delivery-parked = Could not be delivered
running-delivery-held = Held until a teacher chooses
running-delivery-oldest = The oldest waits since
running-parked = Could not be delivered
running-held = Held: the gradebook has another mark
running-waits = On their way
running-send-again = Send again
running-send-again-label = Send the grade of { $pupil } again
running-no-problem = no problem so far
running-nothing = Nothing.
running-use-courses = Use by course
running-use-rule = Nothing about fewer than { $least } pupils of a course is told. Steps that so few of a course answered are left out everywhere, also of sums and of the families below, so that nothing about them can be computed.
running-use-sum = Sum of the told rows
running-use-families = What families tell
running-use-csv = Families as a table (CSV)
running-too-few = fewer than { $least }
running-filter = Choose
running-show = Show
running-all-platforms = all
running-audit-heading = Who changed what, newest first
running-older = Older entries
running-use-courses-csv = Courses as a table (CSV)
running-use-families-about = The share of points has its 95% interval beside it. The last column counts wrong answers.
running-use-chart = Share of points by step, with its 95% interval
running-use-untold = Answered by fewer than { $least } pupils in every course, so not told: { $steps }.
running-use-wrong = Wrong answers
running-use-wrong-about = How many wrong answers are consistent with what, over all steps above. Some wrong answers are consistent with nothing known.
running-use-wrong-chart = Wrong answers by what they are consistent with
running-column-consistent = Consistent with
running-column-answers = Answers
running-column-discrimination = Discrimination
running-not-told = not told
running-one-a-line = One a line.
running-audience = Audience of token requests
running-audience-hint = Only where the platform names another one than its token address; else leave it empty.
running-fault-address = “{ $field }” must be a whole https address of a public host, without user name or password; the platform’s own also without “?”. Nothing was added.
running-fault-identifier = “{ $field }” must have 1 to 255 plain characters. Nothing was added.
running-registered-as = As it is registered
running-all-platforms-link = All platforms
running-frames = Pages that may show tenths inside them
running-frames-about = The platform’s own addresses may. Where its schools have addresses of their own, name those here.
running-frames-origins = Further addresses
running-frames-hint = One a line, without path, such as https://school-7.example.org.
running-frames-save = Save these addresses
running-frames-fault = “{ $line }” is no https address without path. Nothing was changed.
running-retire = Let it leave
running-retire-label = Let key { $name } leave
running-retire-fault = The key stays: no other key would sign in its place.
running-held-marks = ours: { $ours }, in the gradebook: { $theirs }
running-send-ours = Send ours
running-send-ours-label = Send our grade of { $pupil }
running-keep-theirs = Keep the gradebook’s
running-keep-theirs-label = Keep the gradebook’s mark of { $pupil }
running-compare = Compare now
running-compare-label = Compare the gradebook’s column of { $pupil } now
running-compare-fault = The gradebook could not be read: { $problem }
running-key-times = { $made }; leaves on { $leaves }
