//! What the class page says of grades on their way, and of what the gradebook was seen to hold.

use fluent_bundle::FluentValue;
use jiff::Timestamp;

use crate::app::App;
use crate::delivery;
use crate::handlers::answer::capitalised;
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::handlers::problem_words;
use crate::pages::class::{DeliveryView, GradeAction, GradebookView};
use crate::pages::marked::Tone;
use crate::storage::{Delivery, DeliveryState, Drift, Progress, Reading, Score};
use crate::texts::Texts;

/// Where one pupil's grade is.
pub(super) fn of_pupil(
    texts: &Texts,
    app: &App,
    quiz: &OpenedQuiz,
    handed_in: bool,
    delivery: Option<&Delivery>,
) -> DeliveryView {
    let Some(delivery) = delivery else {
        let state = match (handed_in, quiz.sends_grades()) {
            (false, _) => "class-grade-nothing",
            (true, true) => "class-grade-preview",
            (true, false) => "class-grade-not-sent",
        };
        return DeliveryView {
            state: texts.say(state),
            tone: Tone::Quiet,
            detail: None,
            differs: None,
            action: GradeAction::None,
        };
    };
    let (state, tone) = state(delivery);
    DeliveryView {
        state: texts.say(state),
        tone,
        detail: detail(texts, delivery, |time| texts.date_time(time, quiz.zone(app)).into()),
        differs: differs(texts, delivery),
        action: match delivery.state {
            DeliveryState::Parked => GradeAction::SendAgain,
            DeliveryState::Held => GradeAction::Settle,
            DeliveryState::Kept => GradeAction::SendOurs,
            _ => GradeAction::None,
        },
    }
}

/// The message for a state, and its colour.
fn state(delivery: &Delivery) -> (&'static str, Tone) {
    match (delivery.state, &delivery.progress) {
        (DeliveryState::Delivered, Progress::Graded { .. }) => ("class-grade-delivered", Tone::Right),
        (DeliveryState::Delivered | DeliveryState::Waiting, Progress::Started) => {
            ("class-grade-begun", Tone::Quiet)
        }
        (DeliveryState::Delivered, Progress::Reset) => ("class-grade-reset", Tone::Quiet),
        (DeliveryState::Waiting, _) => ("class-grade-waiting", Tone::Form),
        (DeliveryState::Parked, Progress::Started) => ("class-grade-begin-failed", Tone::Form),
        (DeliveryState::Parked, _) => ("class-grade-failed", Tone::Wrong),
        (DeliveryState::Held, _) => ("class-grade-held", Tone::Form),
        (DeliveryState::Kept, _) => ("class-grade-kept", Tone::Quiet),
    }
}

/// Why a grade is where it is; `told` puts a time into words.
fn detail(
    texts: &Texts,
    delivery: &Delivery,
    told: impl Fn(Timestamp) -> FluentValue<'static>,
) -> Option<String> {
    let score = |id: &str| {
        let Score { points, maximum } = delivery.progress.score()?;
        Some(texts.with(id, &[("points", points.into()), ("most", maximum.into())]))
    };
    match (delivery.state, &delivery.problem) {
        (DeliveryState::Waiting, Some(problem)) => Some(texts.with(
            "class-grade-retried",
            &[
                ("problem", problem_words::told(texts, problem).into()),
                ("since", told(delivery.waiting_since)),
                ("next", told(delivery.next_try_at)),
            ],
        )),
        (DeliveryState::Parked, Some(problem)) => Some(texts.with(
            "class-grade-parked",
            &[
                ("problem", capitalised(&problem_words::told(texts, problem)).into()),
                ("since", told(delivery.waiting_since)),
            ],
        )),
        (DeliveryState::Held | DeliveryState::Kept, _) => score("class-grade-ours"),
        (DeliveryState::Delivered, _) => score("class-grade-sent"),
        _ => None,
    }
}

fn differs(texts: &Texts, delivery: &Delivery) -> Option<String> {
    let mark = delivery.cell.found.map(|found| {
        let of = [("points", found.points.to_string().into()), ("most", found.maximum.to_string().into())];
        texts.with("class-grade-sent", &of)
    });
    let mark = ("mark", mark.unwrap_or_default().into());
    Some(match delivery.cell.drift? {
        Drift::Missing => texts.say("class-grade-missing"),
        Drift::Different => texts.with("class-grade-shows", &[mark]),
        Drift::Own => texts.with("class-grade-own", &[mark]),
    })
}

/// How all grades of the quiz stand.
pub(super) fn gradebook(
    texts: &Texts,
    app: &App,
    quiz: &OpenedQuiz,
    deliveries: &[Delivery],
    reading: Option<&Reading>,
) -> GradebookView {
    let told = |time| FluentValue::from(texts.date_time(time, quiz.zone(app)));
    let of_state = |state| deliveries.iter().filter(move |delivery| delivery.state == state);
    let mut lines = Vec::new();
    for (state, id) in [
        (DeliveryState::Waiting, "class-gradebook-waiting"),
        (DeliveryState::Parked, "class-gradebook-parked"),
        (DeliveryState::Held, "class-gradebook-held"),
    ] {
        if let Some(since) = of_state(state).map(|delivery| delivery.waiting_since).min() {
            lines.push(texts.with(id, &[("count", of_state(state).count().into()), ("since", told(since))]));
        }
    }
    if lines.is_empty() {
        lines.push(texts.say("class-gradebook-quiet"));
    }
    let comparing = if !quiz.sends_grades() {
        Err(texts.say("class-gradebook-takes-none"))
    } else if delivery::may_read(&quiz.placement) {
        Ok(())
    } else {
        Err(texts.say("class-gradebook-unread"))
    };
    GradebookView {
        lines,
        can_send_again: of_state(DeliveryState::Parked).next().is_some(),
        comparing,
        compared: reading.map(|reading| compared(texts, told(reading.at), reading, deliveries)),
    }
}

fn compared(texts: &Texts, at: FluentValue<'_>, reading: &Reading, deliveries: &[Delivery]) -> String {
    let time = ("time", at);
    if let Some(problem) = &reading.problem {
        return texts.with(
            "class-gradebook-failed",
            &[time, ("problem", problem_words::told(texts, problem).into())],
        );
    }
    match deliveries.iter().filter(|delivery| delivery.cell.drift.is_some()).count() {
        0 => texts.with("class-gradebook-same", &[time]),
        differ => texts.with("class-gradebook-differs", &[time, ("count", differ.into())]),
    }
}
