//! From stored marks to what pupils and teachers read: verdicts in words, reasons, the worked solution drawn.
//!
//! Takes marks of closed attempts only; a running attempt has none. Pupils read everything in the question's language,
//! teachers in their own; stories stay as the pupil read them.

use qbank::marking::{Mark, StepMark, Verdict, WorkedWith, notes_in, worked_with};
use qbank::misconceptions;
use qbank::pool::Pool;
use qbank::question::{Item, ProvenStep, Step, StepKind};
use qbank::units;
use qbank::working::blocks;

use super::answer::capitalised;
use crate::pages::drawings::working::{Painter, WorkedPicture};
use crate::pages::marked::{MarkedQuestion, MarkedStep, Tone};
use crate::pages::spoken::Voice;
use crate::texts::Texts;

/// Misconceptions of raising both numbers; where they are among the predicted ones, the number line shows it.
const SHIFT: &str = "subtract-shift-";

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
    let locale = item.map_or("en-US", |item| item.locale.as_str());
    let texts = match reader {
        Reader::Pupil => Texts::of(locale),
        Reader::Teacher => Texts::of_reader(),
    };
    let voice = item.map_or_else(|| Voice::plain(locale), |item| Voice::after(item));
    let with = item.map(|item| worked_with(item, mark)).unwrap_or_default();
    // Notes are stored in the question's language.
    let notes = match (item, reader) {
        (Some(item), Reader::Teacher) => notes_in(item, mark, texts.language()),
        _ => mark.steps.iter().map(|step| step.note.clone()).collect(),
    };
    let steps = mark.steps.iter().zip(&notes).map(|(mark, note)| {
        let all = item.into_iter().flat_map(Item::steps_proven).zip(&with);
        let asked = all.map(|((step, proven), with)| Asked { step, proven, with });
        let asked = asked.into_iter().find(|asked| asked.step.id == mark.id);
        let locale = if reader == Reader::Pupil { locale } else { texts.tag() };
        let reasons = Voice::plain(locale);
        StepTeller { texts, voice: &voice, reasons, painter: Painter::new(locale), reader }.step(
            asked.as_ref(),
            mark,
            note,
        )
    });
    let points = [("points", mark.points.into()), ("maximum", mark.max.into())];
    MarkedQuestion {
        texts,
        language: locale.to_owned(),
        number,
        story: match item {
            Some(item) => paragraphs(&item.stem).iter().map(|paragraph| voice.speak(paragraph)).collect(),
            None => vec![voice.speak(&texts.say("drawings-marked-gone"))],
        },
        points: texts.with("drawings-marked-points", &points),
        steps: steps.collect(),
    }
}

/// A step of the question that was asked, and what it is worked with.
struct Asked<'a> {
    step: &'a Step,
    proven: &'a ProvenStep,
    with: &'a WorkedWith,
}

/// Tells a step to its reader.
struct StepTeller<'a> {
    texts: &'static Texts,
    /// Says the question's own texts.
    voice: &'a Voice,
    /// Says reasons, in the reader's language.
    reasons: Voice,
    painter: Painter,
    reader: Reader,
}

impl StepTeller<'_> {
    fn step(&self, asked: Option<&Asked<'_>>, mark: &StepMark, note: &str) -> MarkedStep {
        let texts = self.texts;
        let right = matches!(mark.verdict, Verdict::Correct);
        // A right value in another form may be right by the own value, too.
        let followed = match mark.verdict {
            Verdict::FollowThrough => true,
            Verdict::RightValueWrongForm => asked.is_some_and(|asked| asked.with.follows),
            _ => false,
        };
        let (verdict, tone) = self.verdict(mark.verdict);
        let step = asked.map(|asked| asked.step);
        let prompt = step.map_or_else(
            || texts.with("drawings-marked-step", &[("step", mark.id.clone().into())]),
            |step| unbroken(&step.prompt),
        );
        let response =
            step.map_or_else(|| mark.response.clone(), |step| shown_response(step, &mark.response));
        let answer = if right { String::new() } else { step.map(shown_answer).unwrap_or_default() };
        MarkedStep {
            prompt: self.voice.speak(&prompt),
            response: self.voice.speak(&response),
            verdict,
            tone,
            why: self.why(mark, note).iter().map(|sentence| self.reasons.speak(sentence)).collect(),
            own: asked.filter(|_| followed).map(|asked| self.working(asked, true)).unwrap_or_default(),
            answer_lead: if followed {
                texts.say("drawings-marked-answer-earlier")
            } else {
                texts.say("drawings-marked-answer")
            },
            answer: self.voice.speak(&answer),
            working: asked.map(|asked| self.working(asked, false)).unwrap_or_default(),
            open: !matches!(mark.verdict, Verdict::Correct | Verdict::FollowThrough),
            changed: None,
            points_form: None,
        }
    }

    /// The working of a step, from the pupil's own earlier values or from the right ones.
    fn working(&self, asked: &Asked<'_>, own: bool) -> Vec<WorkedPicture> {
        // What a choice of mistakes shows was drawn; the step before works the exercise.
        if asked.step.solution.is_empty() {
            return Vec::new();
        }
        let names = if own { &asked.with.own } else { &asked.with.right };
        let by_shift = asked.step.predicted.iter().any(|wrong| wrong.misconception.contains(SHIFT));
        let blocks = blocks(&asked.proven.expression, names).unwrap_or_default();
        self.painter.paint(&blocks, by_shift)
    }

    fn verdict(&self, verdict: Verdict) -> (String, Tone) {
        let texts = self.texts;
        match verdict {
            Verdict::Correct => (texts.say("drawings-verdict-right"), Tone::Right),
            Verdict::FollowThrough => (texts.say("drawings-verdict-own"), Tone::Own),
            Verdict::RightValueWrongForm => (texts.say("drawings-verdict-form"), Tone::Form),
            Verdict::Wrong => (texts.say("drawings-verdict-wrong"), Tone::Wrong),
            Verdict::Unreadable => (texts.say("drawings-verdict-unreadable"), Tone::Form),
            Verdict::Blank => (texts.say("drawings-verdict-blank"), Tone::Quiet),
        }
    }

    /// The reasons for a verdict, a sentence each.
    fn why(&self, mark: &StepMark, note: &str) -> Vec<String> {
        let texts = self.texts;
        match (mark.verdict, self.reader) {
            (Verdict::Correct | Verdict::Blank, _) => Vec::new(),
            (Verdict::FollowThrough, Reader::Pupil) => vec![texts.say("drawings-why-own")],
            (Verdict::FollowThrough, Reader::Teacher) => vec![texts.say("drawings-why-own-teacher")],
            (Verdict::RightValueWrongForm | Verdict::Unreadable, _) => vec![sentence(note)],
            (Verdict::Wrong, Reader::Pupil) => self.pupil_reasons(mark, note),
            (Verdict::Wrong, Reader::Teacher) => self.teacher_reasons(mark),
        }
    }

    fn pupil_reasons(&self, mark: &StepMark, note: &str) -> Vec<String> {
        let language = self.texts.language();
        let known: Vec<_> = mark.misconceptions.iter().filter_map(|id| misconceptions::find(id)).collect();
        match known.as_slice() {
            // The note says why an own value was not followed.
            [] if !note.is_empty() => vec![sentence(note)],
            [] => vec![self.texts.say("drawings-why-unknown")],
            [one] => vec![sentence(one.pupil(language))],
            several => {
                let reasons = several.iter().map(|one| sentence(one.pupil(language)));
                [self.texts.say("drawings-why-one-of")].into_iter().chain(reasons).collect()
            }
        }
    }

    fn teacher_reasons(&self, mark: &StepMark) -> Vec<String> {
        let known: Vec<_> = mark.misconceptions.iter().filter_map(|id| misconceptions::find(id)).collect();
        if known.is_empty() {
            return vec![self.texts.say("drawings-why-unknown-teacher")];
        }
        let language = self.texts.language();
        let told = known.iter().map(|one| {
            let parts = [("reason", one.shown_as(language).into()), ("next", one.next_in(language).into())];
            self.texts.with("drawings-why-teacher", &parts)
        });
        told.collect()
    }
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
        return choice.text.to_string();
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
