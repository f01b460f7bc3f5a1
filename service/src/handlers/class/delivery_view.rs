//! What the class page says of grades on their way, and of what the gradebook was seen to hold.

use jiff::Timestamp;

use crate::delivery;
use crate::handlers::answer::capitalised;
use crate::handlers::opened_quiz::{OpenedQuiz, counted};
use crate::pages::class::{DeliveryView, GradeAction, GradebookView};
use crate::pages::marked::Tone;
use crate::storage::{Delivery, DeliveryState, Drift, Progress, Reading};

/// Where one pupil's grade is.
pub(super) fn of_pupil(quiz: &OpenedQuiz, handed_in: bool, delivery: Option<&Delivery>) -> DeliveryView {
    let Some(delivery) = delivery else {
        let state = match (handed_in, quiz.sends_grades()) {
            (false, _) => "nothing to send yet",
            (true, true) => "not sent (preview)",
            (true, false) => "not sent",
        };
        return DeliveryView {
            state,
            tone: Tone::Quiet,
            detail: None,
            differs: None,
            action: GradeAction::None,
        };
    };
    let (state, tone) = state_words(delivery);
    DeliveryView {
        state,
        tone,
        detail: detail(delivery),
        differs: differs(delivery),
        action: match delivery.state {
            DeliveryState::Parked => GradeAction::SendAgain,
            DeliveryState::Held => GradeAction::Settle,
            DeliveryState::Kept => GradeAction::SendOurs,
            _ => GradeAction::None,
        },
    }
}

fn state_words(delivery: &Delivery) -> (&'static str, Tone) {
    match (delivery.state, &delivery.progress) {
        (DeliveryState::Delivered, Progress::Graded { .. }) => ("delivered", Tone::Right),
        (DeliveryState::Delivered, Progress::Started) => ("has begun", Tone::Quiet),
        (DeliveryState::Delivered, Progress::Reset) => ("reset: grade taken back", Tone::Quiet),
        (DeliveryState::Waiting, Progress::Started) => ("has begun", Tone::Quiet),
        (DeliveryState::Waiting, _) => ("waiting", Tone::Form),
        (DeliveryState::Parked, Progress::Started) => ("beginning could not be told", Tone::Form),
        (DeliveryState::Parked, _) => ("could not be delivered", Tone::Wrong),
        (DeliveryState::Held, _) => ("held: the gradebook has another mark", Tone::Form),
        (DeliveryState::Kept, _) => ("not sent: the gradebook’s mark stays", Tone::Quiet),
    }
}

fn detail(delivery: &Delivery) -> Option<String> {
    let score = delivery.progress.score().map(|score| score.to_string());
    match (delivery.state, &delivery.problem) {
        (DeliveryState::Waiting, Some(problem)) => Some(format!(
            "Last try: {problem}. Waiting since {}, tried again by itself at {}.",
            moment(delivery.waiting_since),
            moment(delivery.next_try_at)
        )),
        (DeliveryState::Parked, Some(problem)) => {
            Some(format!("{}. Since {}.", capitalised(problem), moment(delivery.waiting_since)))
        }
        (DeliveryState::Held | DeliveryState::Kept, _) => score.map(|score| format!("Ours: {score}")),
        (DeliveryState::Delivered, _) => score,
        _ => None,
    }
}

fn differs(delivery: &Delivery) -> Option<String> {
    let shown = delivery.cell.found.map(|found| found.to_string()).unwrap_or_default();
    Some(match delivery.cell.drift? {
        Drift::Missing => "The gradebook shows no mark.".to_owned(),
        Drift::Different => format!("The gradebook shows {shown}."),
        Drift::Own => format!("The gradebook has a mark of its own: {shown}."),
    })
}

/// How all grades of the quiz stand.
pub(super) fn gradebook(
    quiz: &OpenedQuiz,
    deliveries: &[Delivery],
    reading: Option<&Reading>,
) -> GradebookView {
    let of_state = |state| deliveries.iter().filter(move |delivery| delivery.state == state);
    let mut lines = Vec::new();
    for (state, what) in [
        (DeliveryState::Waiting, "on the way"),
        (DeliveryState::Parked, "not deliverable as things are"),
        (DeliveryState::Held, "held until you choose"),
    ] {
        let count = of_state(state).count();
        if let Some(since) = of_state(state).map(|delivery| delivery.waiting_since).min() {
            let messages = counted(u64::try_from(count).unwrap_or(u64::MAX), "message");
            lines.push(format!("{messages} {what}, the first since {}.", moment(since)));
        }
    }
    if lines.is_empty() {
        lines.push("Nothing is waiting.".to_owned());
    }
    let comparing = if !quiz.sends_grades() {
        Err("The course takes no grades for this quiz, so there is nothing to compare.")
    } else if delivery::may_read(&quiz.placement) {
        Ok(())
    } else {
        Err(
            "The platform does not let us read its gradebook: a mark that was changed there is not seen here, and a later better grade replaces it.",
        )
    };
    GradebookView {
        lines,
        can_send_again: of_state(DeliveryState::Parked).next().is_some(),
        comparing,
        compared: reading.map(|reading| compared(reading, deliveries)),
    }
}

fn compared(reading: &Reading, deliveries: &[Delivery]) -> String {
    let at = moment(reading.at);
    if let Some(problem) = &reading.problem {
        return format!("Comparing did not work at {at}: {problem}.");
    }
    let differ = deliveries.iter().filter(|delivery| delivery.cell.drift.is_some()).count();
    match differ {
        0 => format!("Compared at {at}: the gradebook shows what was delivered."),
        1 => format!("Compared at {at}: 1 pupil’s mark differs, see above."),
        _ => format!("Compared at {at}: {differ} pupils’ marks differ, see above."),
    }
}

fn moment(time: Timestamp) -> String {
    time.strftime("%Y-%m-%d %H:%M UTC").to_string()
}
