//! The teacher's pages: placing a quiz, the class, one attempt.

use askama::Template;

use super::Frame;
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
    pub warning: Option<&'static str>,
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
    /// Whether the windows are shown unfolded.
    pub windows_open: bool,
    /// The ends of the windows.
    pub windows: Vec<WindowField>,
}

/// One end of a window, as typed so far.
#[derive(Debug, Clone)]
pub struct WindowField {
    /// Name and id of the field.
    pub name: String,
    /// Words beside it.
    pub label: &'static str,
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
    pub text: &'static str,
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

/// The class: each pupil's attempts, best points, and where the grade is.
#[derive(Debug, Clone, Template)]
#[template(path = "class/overview.html")]
pub struct OverviewPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// Title of the pool.
    pub pool: String,
    /// Questions of an attempt.
    pub question_count: u32,
    /// "3" or "no limit".
    pub attempts_allowed: String,
    /// When pupils can work on it.
    pub open: String,
    /// Where to change that, unless the course itself sets it.
    pub times: Option<String>,
    /// What earns points.
    pub marking: String,
    /// "12 of 14 who started".
    pub handed_in: String,
    /// Something the teacher should know, for example that grades cannot be sent.
    pub warning: Option<&'static str>,
    /// This page; what can be asked for is below it.
    pub class_url: String,
    /// How the gradebook stands.
    pub gradebook: GradebookView,
    /// Where the list of pupils comes from, and of when it is.
    pub class_list: String,
    /// Where to ask that the course's class list be read again, when it has one.
    pub read_again: Option<String>,
    /// Pupils of the course who have not started: label, and id of the platform.
    pub not_started: Vec<(String, String)>,
    /// Token of the session.
    pub csrf: String,
    /// The pupils, best points first.
    pub pupils: Vec<PupilRow>,
}

/// A pupil in the class table.
#[derive(Debug, Clone)]
pub struct PupilRow {
    /// Short stable label.
    pub label: String,
    /// The platform's own opaque id of the pupil.
    pub subject: String,
    /// "left the course", where that is so.
    pub mark: Option<&'static str>,
    /// "7 of 10", or a dash in words.
    pub best: String,
    /// The attempts in order.
    pub attempts: Vec<AttemptLink>,
    /// Whether there is work that can be reset.
    pub can_reset: bool,
    /// Where the grade is on its way to the gradebook.
    pub delivery: DeliveryView,
}

/// How the gradebook of the quiz stands.
#[derive(Debug, Clone)]
pub struct GradebookView {
    /// "3 grades wait, the first since 2026-03-02 09:15 UTC", for each kind that there is.
    pub lines: Vec<String>,
    /// Whether there are grades that could not be delivered.
    pub can_send_again: bool,
    /// Whether the gradebook can be compared; if not, why.
    pub comparing: Result<(), &'static str>,
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
    pub state: &'static str,
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
    /// Points that this attempt could have given.
    pub points_max: u32,
    /// "Attempt 1, handed in 2026-03-02 09:15 UTC".
    pub progress: String,
    /// The class page.
    pub class_url: String,
    /// Who answered, before each answer: "Answer:".
    pub whose: &'static str,
    /// The marked questions.
    pub questions: Vec<MarkedQuestion>,
}
