//! The teacher's pages: placing a quiz, the class, one attempt.

use askama::Template;

use super::Frame;
use super::drawings::charts::ClassMap;
use super::marked::{MarkedQuestion, Tone};

/// Most characters a quiz's title may have.
pub const TITLE_LENGTH_MAX: usize = 120;

/// Choosing pools and settings while a deep-linking request waits.
#[derive(Debug, Clone, Template)]
#[template(path = "class/place.html")]
pub struct PlacePage {
    /// Frame.
    pub frame: Frame,
    /// What was wrong with the last try.
    pub problem: Option<String>,
    /// Something the teacher should know beforehand.
    pub warning: Option<String>,
    /// Where the form goes.
    pub action: &'static str,
    /// Token of the session.
    pub csrf: String,
    /// How many quizzes the form has.
    pub count: usize,
    /// The quizzes.
    pub quizzes: Vec<QuizForm>,
    /// Whether there is any pool to choose.
    pub any_pool: bool,
    /// Largest number of questions allowed.
    pub questions_max: u32,
    /// Largest number of attempts allowed.
    pub attempts_max: u32,
    /// Time zones for the times of all quizzes.
    pub zones: Vec<ZoneChoice>,
    /// Whether one more quiz can be added.
    pub may_add: bool,
    /// "Place this quiz".
    pub place_text: String,
}

/// The form of one quiz.
#[derive(Debug, Clone)]
pub struct QuizForm {
    /// 1 for the first.
    pub number: usize,
    /// What the names of its fields begin with.
    pub prefix: String,
    /// Pools to choose from.
    pub pools: Vec<PoolChoice>,
    /// Title as typed so far.
    pub title: String,
    /// Number of questions as typed so far.
    pub questions: String,
    /// Number of attempts as typed so far.
    pub attempts: String,
    /// Whether a pupil's own earlier value is followed.
    pub follow_through: bool,
    /// Whether pupils see one question at a time.
    pub one_at_a_time: bool,
    /// What the right value in another form may earn.
    pub form_credits: Vec<CreditChoice>,
    /// Whether pupils see the grade in the course at once.
    pub released: bool,
    /// Whether the details are shown unfolded.
    pub details_open: bool,
    /// The ends of the windows.
    pub windows: Vec<WindowField>,
}

/// One end of a window, as typed so far.
#[derive(Debug, Clone)]
pub struct WindowField {
    /// Name and id of the field.
    pub name: String,
    /// Words beside it.
    pub label: String,
    /// As typed.
    pub value: String,
}

/// A time zone that can be chosen.
#[derive(Debug, Clone)]
pub struct ZoneChoice {
    /// Its name.
    pub name: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

/// Changing when a placed quiz is open.
#[derive(Debug, Clone, Template)]
#[template(path = "class/times.html")]
pub struct TimesPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// What was wrong with the last try.
    pub problem: Option<String>,
    /// Where the form goes.
    pub action: String,
    /// The class page.
    pub class_url: String,
    /// Token of the session.
    pub csrf: String,
    /// The ends of the windows.
    pub windows: Vec<WindowField>,
    /// Time zones for them.
    pub zones: Vec<ZoneChoice>,
}

/// What the right value in another form may earn.
#[derive(Debug, Clone)]
pub struct CreditChoice {
    /// Value of the form's field.
    pub value: &'static str,
    /// The choice in words.
    pub text: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

/// A pool that can be placed.
#[derive(Debug, Clone)]
pub struct PoolChoice {
    /// The pool's id.
    pub id: String,
    /// The pool's title.
    pub title: String,
    /// "40 questions, aligned to 5.NBT.B.7, 6.NS.B.3".
    pub summary: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

/// A view of the class in the navigation.
#[derive(Debug, Clone)]
pub struct View {
    /// The message that names it.
    pub message: &'static str,
    /// Its address.
    pub url: String,
    /// Whether it is shown now.
    pub present: bool,
}

/// The class: who needs what, pupils by questions, who has not started.
#[derive(Debug, Clone, Template)]
#[template(path = "class/overview.html")]
pub struct OverviewPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// Navigation.
    pub views: Vec<View>,
    /// Title of the pool.
    pub pool: String,
    /// Questions of an attempt.
    pub question_count: u32,
    /// Attempts for each pupil.
    pub attempts_allowed: String,
    /// When pupils can work on it.
    pub open: String,
    /// Where to change that, unless the course itself sets it.
    pub times: Option<String>,
    /// What earns points.
    pub marking: String,
    /// Something the teacher should know, for example that grades cannot be sent.
    pub warning: Option<String>,
    /// "12 of 14 who started".
    pub handed_in: String,
    /// Whether there is anything to judge.
    pub any_handed_in: bool,
    /// Groups with the same misunderstanding, the largest first.
    pub needs: Vec<NeedView>,
    /// Pupils by questions; none before the first has started.
    pub map: Option<MapView>,
    /// Where the list of pupils comes from, and of when it is.
    pub class_list: String,
    /// Where to ask that the course's class list be read again, when it has one.
    pub read_again: Option<String>,
    /// Pupils of the course who have not started: label, and id of the platform.
    pub not_started: Vec<(String, String)>,
    /// Token of the session.
    pub csrf: String,
}

/// Pupils whose answers are consistent with the same.
#[derive(Debug, Clone)]
pub struct NeedView {
    /// For the page's own links.
    pub id: String,
    /// "Answers consistent with …".
    pub consistent: String,
    /// "4 pupils".
    pub count: String,
    /// The pupils by label.
    pub pupils: Vec<NeedyPupil>,
    /// An idea for what to do next, for each name.
    pub next: Vec<String>,
    /// "Two questions for the board".
    pub board_heading: String,
    /// The questions.
    pub board: Vec<BoardQuestion>,
}

/// A pupil in a group.
#[derive(Debug, Clone)]
pub struct NeedyPupil {
    /// Name or label.
    pub label: String,
    /// The last attempt.
    pub url: Option<String>,
    /// "3 of 4 answers".
    pub evidence: String,
}

/// A question to be shown, with its answers folded.
#[derive(Debug, Clone)]
pub struct BoardQuestion {
    /// Language of its text.
    pub language: String,
    /// The story, one entry a paragraph.
    pub story: Vec<String>,
    /// What is asked, with the choices where there are some.
    pub steps: Vec<(String, Vec<String>)>,
    /// The answer to each step.
    pub answers: Vec<String>,
}

/// Pupils by questions.
#[derive(Debug, Clone)]
pub struct MapView {
    /// The map as a picture.
    pub picture: ClassMap,
    /// How many questions.
    pub columns: usize,
    /// The pupils by label.
    pub rows: Vec<MapRow>,
}

/// One pupil's best attempt.
#[derive(Debug, Clone)]
pub struct MapRow {
    /// Name or label.
    pub label: String,
    /// "left the course", where that is so.
    pub mark: Option<String>,
    /// The best attempt; none before one was handed in.
    pub url: Option<String>,
    /// "7 of 10", or that nothing was handed in.
    pub total: String,
    /// The questions; none before an attempt was handed in.
    pub cells: Vec<MapCell>,
}

/// One question of one pupil.
#[derive(Debug, Clone)]
pub struct MapCell {
    /// The marked question, where there is more to see than that it is right. Keys go by the pupil's link.
    pub url: Option<String>,
    /// Colour and sign.
    pub tone: Tone,
    /// "1/2".
    pub points: String,
    /// "partly right".
    pub words: String,
    /// That the teacher changed points, where that is so.
    pub changed: Option<String>,
}

/// Points, attempts, and where each grade is.
#[derive(Debug, Clone, Template)]
#[template(path = "class/grades.html")]
pub struct GradesPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// Navigation.
    pub views: Vec<View>,
    /// "12 of 14 who started".
    pub handed_in: String,
    /// Something the teacher should know, for example that grades cannot be sent.
    pub warning: Option<String>,
    /// The class page; what can be asked for is below it.
    pub class_url: String,
    /// How the gradebook stands.
    pub gradebook: GradebookView,
    /// Token of the session.
    pub csrf: String,
    /// The pupils, best points first.
    pub pupils: Vec<PupilRow>,
}

/// A pupil in the table of grades. What ends in `_of` names the pupil, for those who hear a button without its row.
#[derive(Debug, Clone)]
pub struct PupilRow {
    /// Name or label.
    pub label: String,
    /// The platform's own opaque id of the pupil.
    pub subject: String,
    /// "left the course", where that is so.
    pub mark: Option<String>,
    /// "7 of 10", or a dash in words.
    pub best: String,
    /// The attempts in order.
    pub attempts: Vec<AttemptLink>,
    /// Whether there is work that can be reset.
    pub can_reset: bool,
    /// Attempts beyond those of the quiz.
    pub extra: u32,
    /// The same in words, where there are any.
    pub extra_words: Option<String>,
    /// How many attempts the pupil may have.
    pub allow_why: String,
    /// "Allow one more attempt: …".
    pub allow_of: String,
    /// "Another attempt, or anew: …".
    pub more_of: String,
    /// "Reset the work of …".
    pub reset_of: String,
    /// "Send again: …".
    pub send_again_of: String,
    /// "Send ours: …".
    pub send_ours_of: String,
    /// "Send ours after all: …".
    pub send_ours_after_all_of: String,
    /// "Keep the gradebook's: …".
    pub keep_theirs_of: String,
    /// Where the grade is on its way to the gradebook.
    pub delivery: DeliveryView,
}

/// What three pupils would get.
#[derive(Debug, Clone, Template)]
#[template(path = "class/preview.html")]
pub struct PreviewPage {
    /// Frame.
    pub frame: Frame,
    /// Token of the session.
    pub csrf: String,
    /// "Place this quiz".
    pub place_text: String,
    /// The quizzes.
    pub quizzes: Vec<PreviewedQuiz>,
    /// All that was typed: names and values.
    pub fields: Vec<(String, String)>,
}

/// One quiz that is about to be placed.
#[derive(Debug, Clone)]
pub struct PreviewedQuiz {
    /// Title that pupils see.
    pub title: String,
    /// "5 questions for each pupil, 3 attempts, up to 12 points."
    pub numbers: String,
    /// What pupils would get.
    pub versions: Vec<Version>,
}

/// What one pupil would get.
#[derive(Debug, Clone)]
pub struct Version {
    /// "Pupil 1".
    pub title: String,
    /// The questions.
    pub questions: Vec<BoardQuestion>,
}

/// How the gradebook of the quiz stands.
#[derive(Debug, Clone)]
pub struct GradebookView {
    /// "3 grades wait, the first since 2026-03-02 09:15 UTC", for each kind that there is.
    pub lines: Vec<String>,
    /// Whether there are grades that could not be delivered.
    pub can_send_again: bool,
    /// Whether the gradebook can be compared; if not, why.
    pub comparing: Result<(), String>,
    /// When that was done last, and what it showed.
    pub compared: Option<String>,
}

/// What a teacher can ask for a pupil's grade.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GradeAction {
    /// Nothing.
    None,
    /// Sending it again.
    SendAgain,
    /// Choosing between our grade and the gradebook's mark.
    Settle,
    /// Sending our grade after all.
    SendOurs,
}

/// An attempt in the class table; a link once it was handed in.
#[derive(Debug, Clone)]
pub struct AttemptLink {
    /// "1: 7 of 10" or "2: open".
    pub text: String,
    /// The attempt's page.
    pub url: Option<String>,
}

/// Where a grade is.
#[derive(Debug, Clone)]
pub struct DeliveryView {
    /// "waiting", "delivered", "could not be delivered".
    pub state: String,
    /// Colour and sign.
    pub tone: Tone,
    /// Why, or since when.
    pub detail: Option<String>,
    /// How the gradebook was seen to differ.
    pub differs: Option<String>,
    /// What can be asked for.
    pub action: GradeAction,
}

/// One attempt, step by step, for the teacher.
#[derive(Debug, Clone, Template)]
#[template(path = "class/attempt.html")]
pub struct AttemptPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// The pupil's label.
    pub pupil: String,
    /// The platform's own opaque id of the pupil.
    pub subject: String,
    /// Points of this attempt.
    pub points: u32,
    /// "of 10 points".
    pub points_max: String,
    /// "Attempt 1, handed in 2026-03-02 09:15 UTC".
    pub progress: String,
    /// The class page.
    pub class_url: String,
    /// Points and grades.
    pub grades_url: String,
    /// Who answered, before each answer: "Answer:".
    pub whose: String,
    /// The marked questions.
    pub questions: Vec<MarkedQuestion>,
}
