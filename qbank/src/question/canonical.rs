//! The canonical JSON of a question, over which its receipt is made: fields in declared order, no spaces.
//!
//! It is what serde writes of the record, to the byte; the test holds both together. Every question that is drawn or read
//! passes here, and this takes a third of serde's time.
use alloc::string::String;

use super::{Answer, Choice, Given, Prediction, Question, Step};
use crate::{
    accept::Acceptance,
    json::{by_serde, list, named, number, optional, text},
};

/// What most questions take, and then some.
const CAPACITY: usize = 2048;

/// The canonical JSON of the question as if it had no receipt.
pub(super) fn without_receipt(question: &Question) -> String {
    let mut out = String::with_capacity(CAPACITY);
    out.push_str("{\"id\":");
    text(&mut out, &question.id);
    named(&mut out, "family", &question.family);
    number(&mut out, "version", question.version.into());
    named(&mut out, "seed", &question.seed);
    number(&mut out, "position", question.position);
    named(&mut out, "locale", &question.locale);
    out.push_str(",\"standards\":");
    list(&mut out, &question.standards, |out, code| text(out, code));
    number(&mut out, "difficulty", question.difficulty.into());
    named(&mut out, "title", &question.title);
    named(&mut out, "stem", &question.stem);
    out.push_str(",\"givens\":");
    list(&mut out, &question.givens, given);
    out.push_str(",\"steps\":");
    list(&mut out, &question.steps, step);
    out.push_str(",\"receipt\":\"\"}");
    out
}

fn given(out: &mut String, given: &Given) {
    out.push_str("{\"name\":");
    text(out, &given.name);
    out.push_str(",\"value\":\"");
    given.value.print(out);
    out.push('"');
    optional(out, "unit", given.unit.as_deref());
    out.push('}');
}

fn step(out: &mut String, step: &Step) {
    out.push_str("{\"id\":");
    text(out, &step.id);
    named(out, "kind", step.kind.name());
    named(out, "prompt", &step.prompt);
    named(out, "expression", &step.expression);
    out.push_str(",\"answer\":");
    answer(out, &step.answer);
    optional(out, "unit", step.unit.as_deref());
    out.push_str(",\"accept\":");
    if step.accept == Acceptance::EXACT {
        out.push_str("{\"rule\":\"exact\"}");
    } else {
        by_serde(out, &step.accept);
    }
    number(out, "points", step.points.into());
    out.push_str(",\"predicted\":");
    list(out, &step.predicted, prediction);
    if !step.choices.is_empty() {
        out.push_str(",\"choices\":");
        list(out, &step.choices, by_serde::<Choice>);
    }
    out.push_str(",\"solution\":");
    list(out, &step.solution, |out, line| text(out, line));
    out.push('}');
}

fn answer(out: &mut String, answer: &Answer) {
    match answer {
        Answer::Text(answer) => text(out, answer),
        Answer::Sequence(ids) => list(out, ids, |out, id| text(out, id)),
    }
}

fn prediction(out: &mut String, prediction: &Prediction) {
    out.push_str("{\"misconception\":");
    text(out, &prediction.misconception);
    out.push_str(",\"answer\":");
    answer(out, &prediction.answer);
    optional(out, "expression", prediction.expression.as_deref());
    out.push('}');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bank;
    use alloc::format;

    fn check(question: &Question) {
        let open = Question { receipt: String::new(), ..question.clone() };
        assert_eq!(without_receipt(question), serde_json::to_string(&open).unwrap());
    }

    #[test]
    fn is_what_serde_writes() {
        for family in bank::families().unwrap() {
            for locale in family.texts.keys() {
                for item in family.draws("canonical", 0, locale).take(3).map(Result::unwrap) {
                    check(item.question());
                }
            }
        }
    }

    #[test]
    fn escapes_what_serde_escapes() {
        let item = bank::family("story-samples").unwrap().draw("escapes", 0, "en-US").unwrap();
        let mut question = item.question().clone();
        for code in (0..0x30).chain(0x58..0x60).chain([0x7F, 0x80, 0xE9, 0x2028, 0x1F600]) {
            let sign = char::from_u32(code).unwrap();
            question.stem = format!("a{sign}b");
            question.steps[0].solution = alloc::vec![format!("{sign}")];
            question.steps[0].predicted[0].answer = Answer::Sequence(alloc::vec![format!("{sign}{sign}")]);
            question.givens[0].unit = None;
            check(&question);
        }
    }
}
