//! The canonical JSON of a question, over which its receipt is made: fields in declared order, no spaces.
//!
//! It is what serde writes of the record, to the byte; the test holds both together. Every question that is drawn or read
//! passes here, so all is put down as it stands, and looked over once at the end: hardly any record has a sign that JSON
//! escapes. One that has is left to serde.
use alloc::string::String;

use smol_str::SmolStr;

use super::{Answer, Given, Prediction, Question, Step};
use crate::{accept::Acceptance, decimal::Decimal, json::by_serde};

/// What most questions take, and then some.
const CAPACITY: usize = 2048;

/// The canonical JSON of the question as if it had no receipt.
pub(super) fn without_receipt(question: &Question) -> String {
    let mut plain = Plain { out: String::with_capacity(CAPACITY), quotes: 0 };
    plain.question(question);
    plain.checked().unwrap_or_else(|| {
        let mut out = String::new();
        by_serde(&mut out, &Question { receipt: String::new(), ..question.clone() });
        out
    })
}

/// JSON of texts that are put down as they are.
struct Plain {
    out: String,
    /// How many quotes belong to the JSON. If there are more, a text has one.
    quotes: usize,
}

impl Plain {
    /// The JSON, if nothing in it is to be escaped.
    fn checked(self) -> Option<String> {
        // All bytes are looked at, many in one step, which is quicker than stopping at one.
        let (mut quotes, mut escaped) = (0, false);
        for piece in self.out.as_bytes().chunks(128) {
            quotes += usize::from(
                piece.iter().fold(0_u8, |quotes, byte| quotes.wrapping_add(u8::from(*byte == b'"'))),
            );
            escaped |= piece.iter().fold(false, |any, byte| any | (*byte < b' ') | (*byte == b'\\'));
        }
        (quotes == self.quotes && !escaped).then_some(self.out)
    }

    fn question(&mut self, question: &Question) {
        self.text("{\"id\":", &question.id);
        self.text(",\"family\":", &question.family);
        self.number(",\"version\":", question.version.into());
        self.text(",\"seed\":", &question.seed);
        self.number(",\"position\":", question.position);
        self.text(",\"locale\":", &question.locale);
        self.texts(",\"standards\":", &question.standards);
        self.number(",\"difficulty\":", question.difficulty.into());
        self.text(",\"title\":", &question.title);
        self.text(",\"stem\":", &question.stem);
        self.list(",\"givens\":", &question.givens, Self::given);
        self.list(",\"steps\":", &question.steps, Self::step);
        self.text(",\"receipt\":", "");
        self.out.push('}');
    }

    fn given(&mut self, given: &Given) {
        self.text("{\"name\":", &given.name);
        self.decimal(",\"value\":", &given.value);
        self.optional(",\"unit\":", given.unit.as_ref());
        self.out.push('}');
    }

    fn step(&mut self, step: &Step) {
        self.text("{\"id\":", &step.id);
        self.text(",\"kind\":", step.kind.name());
        self.text(",\"prompt\":", &step.prompt);
        self.text(",\"expression\":", &step.expression);
        self.answer(&step.answer);
        self.optional(",\"unit\":", step.unit.as_ref());
        self.key(",\"accept\":");
        if step.accept == Acceptance::EXACT {
            self.text("{\"rule\":", "exact");
            self.out.push('}');
        } else {
            self.by_serde(&step.accept);
        }
        self.number(",\"points\":", step.points.into());
        self.list(",\"predicted\":", &step.predicted, Self::prediction);
        if !step.choices.is_empty() {
            self.list(",\"choices\":", &step.choices, Self::by_serde);
        }
        self.texts(",\"solution\":", &step.solution);
        self.out.push('}');
    }

    fn answer(&mut self, answer: &Answer) {
        match answer {
            Answer::Text(answer) => self.text(",\"answer\":", answer),
            Answer::Sequence(ids) => self.texts(",\"answer\":", ids),
        }
    }

    fn prediction(&mut self, prediction: &Prediction) {
        self.text("{\"misconception\":", &prediction.misconception);
        self.answer(&prediction.answer);
        self.optional(",\"expression\":", prediction.expression.as_ref());
        self.out.push('}');
    }

    /// A key, in quotes, with what stands around it.
    fn key(&mut self, key: &'static str) {
        self.out.push_str(key);
        self.quotes += 2;
    }

    fn text(&mut self, key: &'static str, text: &str) {
        self.key(key);
        self.quoted(text);
    }

    fn quoted(&mut self, text: &str) {
        self.out.push('"');
        self.out.push_str(text);
        self.out.push('"');
        self.quotes += 2;
    }

    fn optional(&mut self, key: &'static str, text: Option<&SmolStr>) {
        if let Some(text) = text {
            self.text(key, text);
        }
    }

    fn texts(&mut self, key: &'static str, texts: &[SmolStr]) {
        self.list(key, texts, |plain, text| plain.quoted(text));
    }

    fn decimal(&mut self, key: &'static str, number: &Decimal) {
        self.key(key);
        self.out.push('"');
        number.print(&mut self.out);
        self.out.push('"');
        self.quotes += 2;
    }

    fn number(&mut self, key: &'static str, number: u64) {
        self.key(key);
        Decimal::new(number.into(), 0).expect("it has 20 digits at most").print(&mut self.out);
    }

    fn list<T>(&mut self, key: &'static str, all: &[T], one: impl Fn(&mut Self, &T)) {
        self.key(key);
        self.out.push('[');
        for (index, each) in all.iter().enumerate() {
            if index > 0 {
                self.out.push(',');
            }
            one(self, each);
        }
        self.out.push(']');
    }

    fn by_serde<T: serde::Serialize>(&mut self, value: &T) {
        let from = self.out.len();
        by_serde(&mut self.out, value);
        // A quote inside of a text has a backslash before it.
        self.quotes += self.out.as_bytes()[from..].iter().filter(|byte| **byte == b'"').count();
    }
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
            question.steps[0].solution = alloc::vec![format!("{sign}").into()];
            question.steps[0].predicted[0].answer =
                Answer::Sequence(alloc::vec![format!("{sign}{sign}").into()]);
            question.givens[0].unit = None;
            check(&question);
        }
    }
}
