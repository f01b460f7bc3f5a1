//! What a teacher chose so far for quizzes to be placed, as typed; and the quizzes that it describes.

use jiff::Timestamp;
use qbank::accept::Credit;
use qbank::form;
use qbank::marking::Policy;
use qbank::pool::Pool;

use super::window_fields::{self, Typed};
use crate::app::App;
use crate::entropy;
use crate::handlers::answer::PageError;
use crate::handlers::form::Fields;
use crate::lti::deep_linking::{ATTEMPTS_MAX, Choice, PlacedQuiz, QUESTIONS_MAX, QUIZZES_MAX};
use crate::pages::class::TITLE_LENGTH_MAX;
use crate::storage::{Layout, PoolId};
use crate::texts::Texts;
use crate::windows::{Edge, Windows, Zone};

/// What the form suggests at first.
const QUESTIONS_SUGGESTED: u32 = 5;
const ATTEMPTS_SUGGESTED: u32 = 3;

/// What the teacher chose so far for one quiz, as typed.
#[derive(Debug, Clone)]
pub(super) struct Draft {
    pub(super) pool: String,
    pub(super) title: String,
    pub(super) questions: String,
    pub(super) attempts: String,
    /// `yes`, or anything else for no.
    pub(super) follow_through: String,
    /// A [`Credit`] by name, or empty where each question says so itself.
    pub(super) form_credit: String,
    /// A [`Layout`] by name, or empty for all questions on one page.
    pub(super) layout: String,
    /// `yes`, or anything else for no.
    pub(super) released: String,
    /// The ends of the windows, in the order of [`Edge::ALL`].
    pub(super) edges: Typed,
}

/// The whole form as typed.
#[derive(Debug, Clone)]
pub(super) struct Drafts {
    pub(super) quizzes: Vec<Draft>,
    pub(super) zone: String,
}

/// Prefix of the fields of a quiz, counted from 0.
pub(super) fn prefix(index: usize) -> String {
    if index == 0 { String::new() } else { format!("{}.", index + 1) }
}

impl Draft {
    pub(super) fn suggested(title: Option<&str>) -> Self {
        Self {
            pool: String::new(),
            title: title.unwrap_or_default().to_owned(),
            questions: QUESTIONS_SUGGESTED.to_string(),
            attempts: ATTEMPTS_SUGGESTED.to_string(),
            follow_through: "yes".into(),
            form_credit: String::new(),
            layout: String::new(),
            released: "yes".into(),
            edges: Default::default(),
        }
    }

    fn read(fields: &Fields, prefix: &str) -> Self {
        let typed = |name: &str| fields.value(&format!("{prefix}{name}")).trim().to_owned();
        Self {
            pool: typed("pool"),
            title: typed("title"),
            questions: typed("questions"),
            attempts: typed("attempts"),
            follow_through: typed("follow_through"),
            form_credit: typed("form_credit"),
            layout: typed("layout"),
            released: typed("released"),
            edges: Edge::ALL.map(|edge| typed(edge.name())),
        }
    }
}

impl Drafts {
    /// All quizzes of a posted form but those marked to be left out; the first always stays.
    pub(super) fn read(fields: &Fields) -> Self {
        let count = fields.value("quizzes").parse::<usize>().unwrap_or(1).clamp(1, QUIZZES_MAX);
        let prefixes = (0..count).map(prefix);
        let kept = prefixes.filter(|prefix| fields.value(&format!("{prefix}leave_out")) != "yes");
        Self {
            quizzes: kept.map(|prefix| Draft::read(fields, &prefix)).collect(),
            zone: fields.value("time_zone").to_owned(),
        }
    }
}

/// The quizzes that the drafts describe, or what is wrong with one in a sentence.
pub(super) async fn chosen(
    texts: &Texts,
    app: &App,
    drafts: &Drafts,
) -> Result<Result<Choice, String>, PageError> {
    let zone = if drafts.zone.is_empty() { Ok(app.settings.time_zone.clone()) } else { drafts.zone.parse() };
    let Ok(zone) = zone else {
        return Ok(Err(texts.say("class-place-choose-zone")));
    };
    let mut quizzes = Vec::with_capacity(drafts.quizzes.len());
    for (draft, number) in drafts.quizzes.iter().zip(1_usize..) {
        let id = PoolId::from(draft.pool.as_str());
        let pool = app.pools.find(app.storage.as_ref(), &id).await?;
        let quiz = pool
            .ok_or_else(|| texts.say("class-place-choose-pool"))
            .and_then(|pool| quiz(texts, &pool, draft, &zone, app.clock.now()));
        match quiz {
            Ok(quiz) => quizzes.push(quiz),
            Err(problem) if drafts.quizzes.len() == 1 => return Ok(Err(problem)),
            Err(problem) => {
                let said = [("number", number.into()), ("problem", problem.into())];
                return Ok(Err(texts.with("class-place-of-quiz", &said)));
            }
        }
    }
    let message =
        (quizzes.len() > 1).then(|| texts.with("class-place-placed", &[("count", quizzes.len().into())]));
    Ok(Ok(Choice { quizzes, message, problem: None }))
}

fn quiz(
    texts: &Texts,
    pool: &Pool,
    draft: &Draft,
    zone: &Zone,
    now: Timestamp,
) -> Result<PlacedQuiz, String> {
    let held = u32::try_from(pool.items().count()).unwrap_or(u32::MAX);
    let question_count =
        whole(texts, &draft.questions, "class-place-bad-questions", QUESTIONS_MAX.min(held))?;
    let attempts_allowed = whole(texts, &draft.attempts, "class-place-bad-attempts", ATTEMPTS_MAX)?;
    if draft.title.chars().count() > TITLE_LENGTH_MAX {
        return Err(texts.with("class-place-long-title", &[("most", TITLE_LENGTH_MAX.into())]));
    }
    // Forms of one pool may be worth different points; platforms rescale, so one of them stands for all.
    let sample = form::draw(pool, usize::try_from(question_count).unwrap_or(usize::MAX), "");
    Ok(PlacedQuiz {
        title: if draft.title.is_empty() { pool.title.clone() } else { draft.title.clone() },
        pool: PoolId::from(pool.id.as_str()),
        question_count,
        attempts_allowed,
        policy: Policy {
            follow_through: draft.follow_through == "yes",
            form_credit: Credit::named(&draft.form_credit),
        },
        layout: Layout::named(&draft.layout).unwrap_or_default(),
        score_maximum: sample.iter().map(|item| item.max_points()).sum(),
        resource_id: entropy::identifier(),
        windows: windows(texts, draft, zone, now)?,
        grades_released: draft.released == "yes",
    })
}

/// The windows as typed, if they leave any time to work in.
fn windows(texts: &Texts, draft: &Draft, zone: &Zone, now: Timestamp) -> Result<Windows, String> {
    let windows = window_fields::read(texts, &draft.edges, zone)?;
    match windows.closes_at() {
        Some(closes) if closes <= now => Err(texts.say("class-place-past")),
        _ => Ok(windows),
    }
}

/// A whole number from 1 to `most`, or the message `problem`.
fn whole(texts: &Texts, typed: &str, problem: &str, most: u32) -> Result<u32, String> {
    let number = typed.parse().ok().filter(|number| (1..=most).contains(number));
    number.ok_or_else(|| texts.with(problem, &[("most", most.into())]))
}
