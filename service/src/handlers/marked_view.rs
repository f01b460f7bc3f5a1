//! From stored marks to what pupils and teachers read: verdicts in words, reasons, the worked solution.
//!
//! Takes marks of closed attempts only; a running attempt has none. Pupils' reasons are told in the question's
//! language; all else on the page is in English.

use qbank::locale::Language;
use qbank::marking::{Mark, StepMark, Verdict};
use qbank::misconceptions;
use qbank::pool::Pool;
use qbank::question::{Item, Step, StepKind};
use qbank::units;

use super::answer::capitalised;
use super::opened_quiz::counted;
use crate::pages::marked::{MarkedQuestion, MarkedStep, Tone};

/// Who reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reader {
    /// Kind sentences to the child.
    Pupil,
    /// What answers are consistent with, and what to do next.
    Teacher,
}

/// The marked questions of an attempt. A question that has left the pool keeps its verdicts but not its texts.
pub(crate) fn questions(pool: &Pool, marks: &[Mark], reader: Reader) -> Vec<MarkedQuestion> {
    let numbered = marks.iter().zip(1..);
    numbered.map(|(mark, number)| question(pool.item(&mark.question), mark, number, reader)).collect()
}

fn question(item: Option<&Item>, mark: &Mark, number: usize, reader: Reader) -> MarkedQuestion {
    let language = item.and_then(|item| Language::of_locale(&item.locale)).unwrap_or_default();
    let steps = mark.steps.iter().map(|step_mark| {
        let asked = item.and_then(|item| item.steps.iter().find(|step| step.id == step_mark.id));
        step(asked, step_mark, reader, language)
    });
    MarkedQuestion {
        number,
        story: match item {
            Some(item) => paragraphs(&item.stem),
            None => vec!["This question is no longer in the pool.".into()],
        },
        points: format!("{} of {}", mark.points, counted(mark.max, "point")),
        steps: steps.collect(),
    }
}

fn step(asked: Option<&Step>, mark: &StepMark, reader: Reader, language: Language) -> MarkedStep {
    let right = matches!(mark.verdict, Verdict::Correct);
    let (verdict, tone) = verdict(mark.verdict);
    MarkedStep {
        prompt: asked.map_or_else(|| format!("Step {}", mark.id), |step| unbroken(&step.prompt)),
        response: asked.map_or_else(|| mark.response.clone(), |step| shown_response(step, &mark.response)),
        verdict,
        tone,
        why: why(mark, reader, language),
        answer: if right { String::new() } else { asked.map(shown_answer).unwrap_or_default() },
        answer_lead: match mark.verdict {
            Verdict::FollowThrough => "With the right earlier answer it is",
            _ => "The answer:",
        },
        working: asked.map(|step| step.solution.join("\n")).unwrap_or_default(),
        changed: None,
        points_form: None,
        open: !matches!(mark.verdict, Verdict::Correct | Verdict::FollowThrough),
    }
}

fn verdict(verdict: Verdict) -> (&'static str, Tone) {
    match verdict {
        Verdict::Correct => ("Right", Tone::Right),
        Verdict::FollowThrough => ("Right from the earlier answer", Tone::Own),
        Verdict::RightValueWrongForm => ("Right value, other form", Tone::Form),
        Verdict::Wrong => ("Not right yet", Tone::Wrong),
        Verdict::Unreadable => ("Could not be read", Tone::Form),
        Verdict::Blank => ("Empty", Tone::Quiet),
    }
}

/// The reasons for a verdict, a sentence each.
fn why(mark: &StepMark, reader: Reader, language: Language) -> Vec<String> {
    match (mark.verdict, reader) {
        (Verdict::Correct | Verdict::Blank, _) => Vec::new(),
        (Verdict::FollowThrough, Reader::Pupil) => vec![went_on_correctly(language).into()],
        (Verdict::FollowThrough, Reader::Teacher) => {
            vec!["Right when worked from the pupil's own earlier value; full points for this step.".into()]
        }
        (Verdict::RightValueWrongForm | Verdict::Unreadable, _) => vec![sentence(&mark.note)],
        (Verdict::Wrong, Reader::Pupil) => pupil_reasons(mark, language),
        (Verdict::Wrong, Reader::Teacher) => teacher_reasons(mark),
    }
}

fn went_on_correctly(language: Language) -> &'static str {
    match language {
        Language::English => {
            "You went on correctly from your own earlier answer, so you get the points for this step."
        }
        Language::Spanish => {
            "Seguiste bien a partir de tu propia respuesta anterior, así que recibes los puntos de este paso."
        }
    }
}

fn pupil_reasons(mark: &StepMark, language: Language) -> Vec<String> {
    let (unknown, one_of) = match language {
        Language::English => (
            "Compare your way with the working below. Where does yours take another turn?",
            "One of these may have happened:",
        ),
        Language::Spanish => (
            "Compara tu procedimiento con el de abajo. ¿Dónde toma el tuyo otro camino?",
            "Puede haber pasado una de estas cosas:",
        ),
    };
    let known: Vec<_> = mark.misconceptions.iter().filter_map(|id| misconceptions::find(id)).collect();
    match known.as_slice() {
        [] => vec![unknown.into()],
        [one] => vec![sentence(one.pupil(language))],
        several => {
            let mut reasons = vec![one_of.to_owned()];
            reasons.extend(several.iter().map(|one| sentence(one.pupil(language))));
            reasons
        }
    }
}

fn teacher_reasons(mark: &StepMark) -> Vec<String> {
    let known: Vec<_> = mark.misconceptions.iter().filter_map(|id| misconceptions::find(id)).collect();
    if known.is_empty() {
        return vec!["No known misunderstanding leads to this answer.".into()];
    }
    known.iter().map(|one| format!("{} Next: {}", sentence(one.teacher), sentence(one.next))).collect()
}

/// A note as a whole sentence.
fn sentence(note: &str) -> String {
    let note = capitalised(note.trim());
    if note.is_empty() || note.ends_with(['.', '!', '?', ':']) { note } else { note + "." }
}

/// Chosen ids as the texts that were chosen; a typed answer as typed.
fn shown_response(step: &Step, response: &str) -> String {
    let text = |id: &str| {
        let chosen = step.choices.iter().find(|choice| choice.id == id.trim());
        chosen.map_or_else(|| id.trim().to_owned(), |choice| unbroken(&choice.text))
    };
    match step.kind {
        StepKind::Number | StepKind::Words => response.to_owned(),
        StepKind::Choice => text(response),
        StepKind::Order => response.split(',').map(text).collect::<Vec<_>>().join(", "),
    }
}

/// The right answer with its unit, or the text of the right choice.
pub(crate) fn shown_answer(step: &Step) -> String {
    let answer = step.answer.to_string();
    if step.kind == StepKind::Order {
        return shown_response(step, &answer);
    }
    if let Some(choice) = step.choices.iter().find(|choice| choice.id == answer) {
        return choice.text.clone();
    }
    answer.parse().map_or(answer, |number| units::printed(&number, step.unit.as_deref()))
}

/// A text's paragraphs, split at line ends.
pub(crate) fn paragraphs(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).map(unbroken).collect()
}

/// The text with each number held to the unit behind it, so that no line of a page ends between "9.48" and "kg".
pub(crate) fn unbroken(text: &str) -> String {
    let mut words = text.split(' ');
    let mut held = words.next().unwrap_or_default().to_owned();
    for word in words {
        let symbol = word.trim_end_matches(|sign: char| !sign.is_alphanumeric());
        let belongs =
            held.ends_with(|sign: char| sign.is_ascii_digit()) && units::by_symbol(symbol).is_some();
        held.push(if belongs { '\u{a0}' } else { ' ' });
        held.push_str(word);
    }
    held
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_stays_with_its_number() {
        assert_eq!(
            unbroken("It weighs 9.5 kg; the other 9.48 kg."),
            "It weighs 9.5\u{a0}kg; the other 9.48\u{a0}kg."
        );
        assert_eq!(unbroken("all 3 samples in m, for $4.50"), "all 3 samples in m, for $4.50");
        assert_eq!(paragraphs("one 2 L \n\n"), ["one 2\u{a0}L"]);
    }
}
