//! Telling a family's texts: slots are filled with drawn numbers and words.
use alloc::{collections::BTreeMap, string::String, vec::Vec};

use smol_str::SmolStr;

use super::{Family, Texts};
use crate::{decimal::Decimal, draw::Draws, locale::Language, units, words::to_words};

/// A slot of a text.
pub struct Slot<'t> {
    /// What stands first: a given, or a list of words with a number behind it.
    pub name: &'t str,
    /// How it is told.
    pub form: SlotForm<'t>,
    /// Where it stands in the text, braces included: first byte, and first byte behind it.
    pub span: (usize, usize),
}

/// How a slot is told.
#[derive(Clone, Copy, PartialEq)]
pub enum SlotForm<'t> {
    /// `{a}`: a given with its unit, or a word; `{person2}` is another one of the list `person`.
    Whole,
    /// `{a:number}`: without the unit.
    Number,
    /// `{a:words}`: the number in words.
    Words,
    /// `{a:article}`: `a` or `an`, as the number or word begins, and the same as `{a}` behind it.
    Article,
    /// `{n|bottle|bottles}`: the word that agrees with the number.
    Agreeing {
        /// For one.
        one: &'t str,
        /// For all other numbers.
        other: &'t str,
    },
}

impl<'t> Slot<'t> {
    /// The word list it draws from.
    #[must_use]
    pub fn list(&self) -> &'t str {
        self.name.trim_end_matches(|last: char| last.is_ascii_digit())
    }

    /// Which different word of the list it is, from 1.
    #[must_use]
    pub fn number(&self) -> usize {
        self.name[self.list().len()..].parse().unwrap_or(1)
    }

    /// Whether it tells a number and cannot tell a word.
    pub(super) fn needs_a_number(&self) -> bool {
        !matches!(self.form, SlotForm::Whole | SlotForm::Article)
    }

    fn read(inside: &'t str, span: (usize, usize)) -> Result<Self, &'static str> {
        if let Some((name, words)) = inside.split_once('|') {
            let agreeing = words.split_once('|').filter(|(_, other)| !other.contains('|'));
            let (one, other) = agreeing.ok_or("agreement needs two words: {n|bottle|bottles}")?;
            return Ok(Self { name, form: SlotForm::Agreeing { one, other }, span });
        }
        let (name, form) = match inside.split_once(':') {
            None => (inside, SlotForm::Whole),
            Some((name, "number")) => (name, SlotForm::Number),
            Some((name, "words")) => (name, SlotForm::Words),
            Some((name, "article")) => (name, SlotForm::Article),
            Some(_) => return Err("after its name a slot takes :number, :words or :article"),
        };
        Ok(Self { name, form, span })
    }
}

/// The slots of a text, in order.
///
/// # Errors
/// What is wrong with a slot; never for a text of a checked family.
pub fn slots(text: &str) -> Result<Vec<Slot<'_>>, &'static str> {
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(slot) = next_slot(text, from)? {
        from = slot.span.1;
        found.push(slot);
    }
    Ok(found)
}

/// The first slot from a byte on.
fn next_slot(text: &str, from: usize) -> Result<Option<Slot<'_>>, &'static str> {
    let bytes = &text.as_bytes()[from..];
    let Some(open) = bytes.iter().position(|byte| *byte == b'{').map(|at| from + at) else {
        let strange = bytes.contains(&b'}');
        return if strange { Err("a } without a { before it") } else { Ok(None) };
    };
    let length = text.as_bytes()[open..].iter().position(|byte| *byte == b'}');
    let close = open + length.ok_or("a slot is opened with { and never closed")?;
    Slot::read(&text[open + 1..close], (open, close + 1)).map(Some)
}

/// Tells a family's texts with drawn numbers and words.
pub(super) struct Teller<'f> {
    family: &'f Family,
    texts: &'f Texts,
    language: Language,
    values: &'f [Decimal],
    draws: Draws,
    /// Each word list in the order drawn for this question.
    chosen: BTreeMap<&'f str, Vec<&'f str>>,
}

impl<'f> Teller<'f> {
    pub(super) fn new(
        family: &'f Family,
        texts: &'f Texts,
        language: Language,
        values: &'f [Decimal],
        draws: Draws,
    ) -> Self {
        Self { family, texts, language, values, draws, chosen: BTreeMap::new() }
    }

    /// One of the stories.
    pub(super) fn stem(&mut self) -> String {
        let stem = self.draws.one_of(&self.texts.stems);
        stem.map(|stem| self.told(stem)).unwrap_or_default()
    }

    /// What a step asks.
    pub(super) fn prompt(&mut self, text: &'f SmolStr) -> SmolStr {
        // Most say the same in every question.
        if text.contains('{') { self.told(text).into() } else { text.clone() }
    }

    fn told(&mut self, text: &'f str) -> String {
        // Numbers and words are hardly ever longer than their slots by more.
        let mut told = String::with_capacity(text.len() + 32);
        let mut from = 0;
        while let Some(slot) = next_slot(text, from).expect("the checker has read all slots") {
            told.push_str(&text[from..slot.span.0]);
            self.fill(&slot, &mut told);
            from = slot.span.1;
        }
        told.push_str(&text[from..]);
        told
    }

    fn fill(&mut self, slot: &Slot<'f>, told: &mut String) {
        let given = self.family.givens.iter().zip(self.values).find(|(given, _)| given.name == slot.name);
        let Some((given, value)) = given else {
            let word = self.word(slot);
            push_with_article(slot, word, told);
            return;
        };
        match slot.form {
            SlotForm::Whole => units::print(told, value, given.unit.as_deref()),
            SlotForm::Number => value.print(told),
            SlotForm::Words => match to_words(value, self.language) {
                Some(words) => told.push_str(&words),
                None => value.print(told),
            },
            SlotForm::Article => {
                push_with_article(slot, &units::printed(value, given.unit.as_deref()), told);
            }
            SlotForm::Agreeing { one, other } => {
                told.push_str(if self.language.is_singular(value) { one } else { other });
            }
        }
    }

    fn word(&mut self, slot: &Slot<'f>) -> &'f str {
        let texts = self.texts;
        let draws = &mut self.draws;
        let words = self.chosen.entry(slot.list()).or_insert_with(|| {
            let mut words: Vec<&str> = texts.words[slot.list()].iter().map(String::as_str).collect();
            draws.shuffle(&mut words);
            words
        });
        words[slot.number() - 1]
    }
}

/// What a slot tells, with the article if the slot asks for it.
fn push_with_article(slot: &Slot<'_>, what: &str, told: &mut String) {
    if slot.form == SlotForm::Article {
        told.push_str(if begins_with_a_vowel(what) { "an " } else { "a " });
    }
    told.push_str(what);
}

/// Whether English says it with a vowel first: an 8 L can, an 11 m rope, an oar.
fn begins_with_a_vowel(told: &str) -> bool {
    let digits: String = told.chars().take_while(char::is_ascii_digit).collect();
    // Eight, eleven, eighteen, and the thousands of the last two; eighty and eight hundred begin like eight.
    let eleven_or_eighteen = (digits.starts_with("11") || digits.starts_with("18")) && digits.len() % 3 == 2;
    digits.starts_with('8')
        || eleven_or_eighteen
        || told.starts_with(['a', 'e', 'i', 'o', 'u', 'A', 'E', 'I', 'O', 'U'])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn articles_follow_what_is_said() {
        for told in ["8 L", "8.5 m", "80 kg", "11 m", "18 kg", "11,000", "oar", "800 m"] {
            assert!(begins_with_a_vowel(&told.replace(',', "")), "{told}");
        }
        for told in ["1 L", "12 m", "110 m", "0.8 L", "180 g", "rope", "7.8"] {
            assert!(!begins_with_a_vowel(told), "{told}");
        }
    }

    #[test]
    fn slots_say_what_is_wrong_with_them() {
        for text in ["{a", "a}", "{a:thing}", "{n|one}", "{n|one|two|three}"] {
            assert!(slots(text).is_err(), "{text}");
        }
        assert_eq!(slots("{a} {a:words} {n|one|more}").map_or(0, |slots| slots.len()), 3);
    }
}
