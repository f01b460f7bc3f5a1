//! What a teacher changed of the points, told beside each step.

use super::answer::PageError;
use crate::pages::marked::MarkedQuestion;
use crate::storage::AttemptResult;
use crate::texts::Texts;

/// Puts a sentence, the message `id`, beside each step whose points the teacher changed. The questions are those of the
/// result's marks, in their order.
///
/// # Errors
/// When the marks cannot be read back.
pub(crate) fn tell(
    texts: &Texts,
    id: &str,
    questions: &mut [MarkedQuestion],
    result: &AttemptResult,
) -> Result<(), PageError> {
    if result.overrides.is_empty() {
        return Ok(());
    }
    let judged = result.judged().map_err(|error| PageError::Record(format!("marks: {error}")))?;
    for (question, mark) in questions.iter_mut().zip(&judged) {
        for (shown, step) in question.steps.iter_mut().zip(&mark.steps) {
            let change = result.overrides.iter().find(|change| change.is_of(&mark.question, &step.id));
            shown.changed = change.map(|change| {
                let said = [
                    ("before", step.points.into()),
                    ("after", change.points.into()),
                    ("reason", change.reason.as_str().into()),
                ];
                texts.with(id, &said)
            });
        }
    }
    Ok(())
}

/// The points of our own mark of a step.
pub(crate) fn ours(result: &AttemptResult, question: &str, step: &str) -> Option<u32> {
    let judged = result.judged().ok()?;
    let mark = judged.iter().find(|mark| mark.question == question)?;
    mark.steps.iter().find(|marked| marked.id == step).map(|marked| marked.points)
}
