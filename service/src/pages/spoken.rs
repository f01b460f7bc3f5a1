//! Numbers for listeners: what stands on a page in signs, and what a voice says in its place.
//!
//! A screen reader says '3.45 kg' as 'three point four five kay gee'; schools say 'three and forty-five hundredths
//! kilograms'. Each text of ours is cut into [`Piece`]s; a piece with words of its own is drawn twice, the signs hidden
//! from voices and the words from eyes.
//!
//! Where naming the places is what a question asks, the words would give the answer away; then digits are named one
//! by one ([`Voice::of`]).

use std::fmt;

use askama::Template;
use qbank::decimal::Decimal;
use qbank::locale::{Language, Locale};
use qbank::question::{Question, StepKind};
use qbank::units::{self, Unit};
use qbank::words;

use crate::texts::Texts;

/// Standards in which reading and writing decimals in words is the skill itself.
const NAMING_IS_ASKED: [&str; 2] = ["4.NF.C.6", "5.NBT.A.3a"];

/// A part of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// What stands on the page.
    pub shown: String,
    /// What is said in its place, if that differs.
    pub said: Option<String>,
}

/// A text ready for the page, as HTML: `{{ text }}` in a template draws it, every part escaped.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(
    ext = "html",
    source = r#"{% for piece in pieces %}{% if let Some(said) = piece.said %}<span aria-hidden="true">{{ piece.shown }}</span><span class="spoken">{{ said }}</span>{% else %}{{ piece.shown }}{% endif %}{% endfor %}"#
)]
pub struct Spoken {
    pieces: Vec<Piece>,
}

// The template above escapes every value that it places.
impl askama::filters::HtmlSafe for Spoken {}

impl Spoken {
    /// The text as a listener hears it.
    pub fn heard(&self) -> String {
        self.pieces.iter().map(|piece| piece.said.as_ref().unwrap_or(&piece.shown).as_str()).collect()
    }

    /// The text as it stands on the page.
    pub fn shown(&self) -> String {
        self.pieces.iter().map(|piece| piece.shown.as_str()).collect()
    }

    /// Whether there is nothing.
    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }
}

/// A part of pages that was written once, as HTML with every part escaped: `{{ part }}` in a template copies it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written(String);

impl Written {
    /// What a template of HTML draws.
    pub(super) fn of(drawn: &impl Template) -> Self {
        Self(drawn.render().expect("writing to memory does not fail"))
    }
}

impl From<&Spoken> for Written {
    fn from(text: &Spoken) -> Self {
        Self::of(text)
    }
}

impl fmt::Display for Written {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

// Made from templates that escape, and from nothing else.
impl askama::filters::HtmlSafe for Written {}

/// How numbers are said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Manner {
    /// 'three and forty-five hundredths'.
    Places,
    /// '3 point 4 5'.
    Digits,
}

/// Who says the numbers of a text.
#[derive(Debug, Clone)]
pub struct Voice {
    locale: Locale,
    language: Language,
    texts: &'static Texts,
    manner: Manner,
    /// Whether 'in' behind a number is inches; elsewhere it is a word of English.
    inches: bool,
}

/// The text cut into pieces, for a reader of that locale.
pub fn spoken(text: &str, locale: &str) -> Vec<Piece> {
    Voice::plain(locale).pieces(text)
}

impl Voice {
    /// A voice that names places.
    pub fn plain(locale: &str) -> Self {
        let texts = Texts::of(locale);
        Self {
            locale: Locale::by_tag(locale).unwrap_or(Locale::EN_US),
            language: texts.language(),
            texts,
            manner: Manner::Places,
            inches: false,
        }
    }

    /// The voice for an open question: it tells nothing that the question asks.
    pub fn of(question: &Question) -> Self {
        let is_asked = question.steps.iter().any(|step| step.kind == StepKind::Words)
            || question.standards.iter().any(|standard| NAMING_IS_ASKED.contains(&standard.as_str()));
        let manner = if is_asked { Manner::Digits } else { Manner::Places };
        Self { manner, ..Self::after(question) }
    }

    /// The voice for a question that was handed in.
    pub fn after(question: &Question) -> Self {
        let units = question.givens.iter().map(|given| &given.unit);
        let mut units = units.chain(question.steps.iter().map(|step| &step.unit));
        let inches = units.any(|unit| unit.as_deref() == Some("in"));
        Self { inches, ..Self::plain(&question.locale) }
    }

    /// The text ready for the page.
    pub fn speak(&self, text: &str) -> Spoken {
        Spoken { pieces: self.pieces(text) }
    }

    /// The text cut into pieces.
    pub fn pieces(&self, text: &str) -> Vec<Piece> {
        let mut pieces = Vec::new();
        let mut plain = String::new();
        let mut rest = text;
        while let Some(next) = rest.chars().next() {
            // A number in the middle of a word, such as a name of something, is left alone.
            let in_word = plain.ends_with(|sign: char| sign.is_alphanumeric() || sign == '.' || sign == ',');
            let found = if in_word { None } else { self.number_at_start(rest) };
            match found {
                Some((length, Some(said))) => {
                    if !plain.is_empty() {
                        pieces.push(Piece { shown: std::mem::take(&mut plain), said: None });
                    }
                    pieces.push(Piece { shown: rest[..length].to_owned(), said: Some(said) });
                    rest = &rest[length..];
                }
                Some((length, None)) => {
                    plain.push_str(&rest[..length]);
                    rest = &rest[length..];
                }
                None => {
                    plain.push(next);
                    rest = &rest[next.len_utf8()..];
                }
            }
        }
        if !plain.is_empty() {
            pieces.push(Piece { shown: plain, said: None });
        }
        pieces
    }

    /// The number that the text starts with: how many bytes it takes with its unit, and what is said, if that differs.
    fn number_at_start(&self, text: &str) -> Option<(usize, Option<String>)> {
        if let Some(after) = text.strip_prefix('$') {
            let (length, number) = self.numeral(after)?;
            return Some((1 + length, self.said(&number, units::by_symbol("$"))));
        }
        let (length, number) = self.numeral(text)?;
        let rest = &text[length..];
        if let Some(found) = self.fraction_or_power(&number, length, rest) {
            return Some(found);
        }
        let Some((behind, unit)) = self.unit_behind(rest) else {
            let said = if number.places() > 0 { self.said(&number, None) } else { None };
            return Some((length, said));
        };
        Some((length + behind, self.said(&number, Some(unit))))
    }

    /// Digits with the locale's signs, as our own texts print them.
    fn numeral(&self, text: &str) -> Option<(usize, Decimal)> {
        let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
        let mut length = digits(text);
        if length == 0 {
            return None;
        }
        while length <= 12
            && text[length..].strip_prefix(self.locale.group).is_some_and(|rest| digits(rest) == 3)
        {
            length += self.locale.group.len_utf8() + 3;
        }
        let whole: String = text[..length].chars().filter(char::is_ascii_digit).collect();
        let places = text[length..].strip_prefix(self.locale.point).map_or(0, digits);
        if places == 0 {
            return Some((length, whole.parse().ok()?));
        }
        let start = length + self.locale.point.len_utf8();
        let number = format!("{whole}.{}", &text[start..start + places]).parse().ok()?;
        Some((start + places, number))
    }

    /// `3/10`, which voices read as a date, and `10³`, whose exponent many leave out.
    fn fraction_or_power(
        &self,
        number: &Decimal,
        length: usize,
        rest: &str,
    ) -> Option<(usize, Option<String>)> {
        if number.places() > 0 {
            return None;
        }
        if let Some(below) = rest.strip_prefix('/') {
            let digits = below.bytes().take_while(u8::is_ascii_digit).count();
            let variables =
                [("above", number.to_string().into()), ("below", below[..digits].to_owned().into())];
            return (digits > 0)
                .then(|| (length + 1 + digits, Some(self.texts.with("drawings-said-fraction", &variables))));
        }
        let exponent = rest.chars().next()?;
        let at = "⁰¹²³⁴⁵⁶⁷⁸⁹".chars().position(|sign| sign == exponent)?;
        let variables = [("base", number.to_string().into()), ("exponent", at.to_string().into())];
        Some((length + exponent.len_utf8(), Some(self.texts.with("drawings-said-power", &variables))))
    }

    /// The unit behind a number: how many bytes it takes with the blank before it.
    fn unit_behind(&self, rest: &str) -> Option<(usize, &'static Unit)> {
        let blank = rest.chars().next().filter(|first| matches!(first, ' ' | '\u{a0}'));
        let start = blank.map_or(0, char::len_utf8);
        let fits = |unit: &&'static Unit| {
            let leads = unit.symbol == "$" || (unit.symbol == "in" && !self.inches);
            let ends = rest[start..]
                .strip_prefix(unit.symbol)
                .is_some_and(|after| !after.starts_with(|next: char| next.is_alphanumeric()));
            !leads && ends && (blank.is_some() || unit.symbol == "¢")
        };
        let unit = units::UNITS.iter().filter(fits).max_by_key(|unit| unit.symbol.len())?;
        Some((start + unit.symbol.len(), unit))
    }

    fn said(&self, number: &Decimal, unit: Option<&Unit>) -> Option<String> {
        // Pesos have the same sign as dollars.
        let unit = match unit {
            Some(unit) if unit.symbol == "$" && !self.locale.tag.ends_with("US") => return None,
            unit => unit,
        };
        let is_money = unit.is_some_and(|unit| matches!(unit.symbol, "$" | "¢"));
        if self.manner == Manner::Digits && number.places() > 0 && !is_money {
            return Some(match unit {
                Some(unit) => format!("{} {}", self.digits(number), unit.name(number, self.language)),
                None => self.digits(number),
            });
        }
        let said = match unit {
            Some(unit) => unit.said(number, self.language),
            None => words::to_words(number, self.language),
        };
        said.or_else(|| unit.is_none().then(|| self.digits(number)))
    }

    /// `3.45` as '3 point 4 5'.
    fn digits(&self, number: &Decimal) -> String {
        let text = number.to_string();
        let (whole, parts) = text.split_once('.').unwrap_or((&text, ""));
        let parts: Vec<String> = parts.chars().map(String::from).collect();
        let id = if self.locale.point == ',' { "drawings-said-comma" } else { "drawings-said-point" };
        self.texts.with(id, &[("whole", whole.to_owned().into()), ("parts", parts.join(" ").into())])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(text: &str, locale: &str) -> String {
        Voice::plain(locale).speak(text).heard()
    }

    #[test]
    fn decimals_are_said_by_their_places() {
        assert_eq!(
            heard("Ana has 3.45 kg of gravel, and 12 cm.", "en-US"),
            "Ana has three and forty-five hundredths kilograms of gravel, and 12 centimeters."
        );
        assert_eq!(
            heard("Ana tiene 3.45\u{a0}kg y 0.5.", "es-US"),
            "Ana tiene tres unidades y cuarenta y cinco centésimas de kilogramo y cinco décimas."
        );
        assert_eq!(
            heard("It costs $4.50, not 45¢.", "en-US"),
            "It costs 4 dollars and 50 cents, not 45 cents."
        );
        assert_eq!(
            heard("12,5 y 3,45", "es-ES"),
            "doce unidades y cinco décimas y tres unidades y cuarenta y cinco centésimas"
        );
    }

    #[test]
    fn what_voices_read_rightly_stays() {
        for text in ["Put 3 in a row.", "In 4th grade 12 of 30", "B2.5", "Question 4.", "", "1,234 people"] {
            assert_eq!(heard(text, "en-US"), text);
        }
        assert_eq!(heard("$4.50", "es-MX"), "$4.50");
    }

    #[test]
    fn fractions_and_powers_are_said() {
        assert_eq!(heard("3/10 × 10³", "en-US"), "3 over 10 × 10 to the power of 3");
        assert_eq!(heard("3/10 × 10³", "es-US"), "3 sobre 10 × 10 elevado a 3");
    }

    #[test]
    fn a_question_that_asks_for_the_name_of_a_number_does_not_tell_it() {
        for locale in ["en-US", "es-US"] {
            for family in
                ["say-tenths", "say-hundredths", "say-thousandths", "say-zero-inside", "tenths-as-hundredths"]
            {
                let item = qbank::bank::family(family).unwrap().draw("a seed", 0, locale).unwrap();
                let voice = Voice::of(&item);
                for text in item.steps.iter().map(|step| step.prompt.as_str()).chain([item.stem.as_str()]) {
                    let heard = voice.speak(text).heard();
                    for step in item.steps.iter().filter(|step| step.kind == StepKind::Words) {
                        assert!(!heard.contains(&step.answer.to_string()), "{family}: {heard}");
                    }
                }
            }
        }
        let item = qbank::bank::family("say-hundredths").unwrap().draw("a seed", 0, "en-US").unwrap();
        assert!(Voice::of(&item).speak(&item.steps[0].prompt).heard().contains(" point "));
    }

    #[test]
    fn inches_are_said_where_the_question_has_them() {
        let family = |name: &str| qbank::bank::family(name).unwrap().draw("a seed", 0, "en-US").unwrap();
        let voice = Voice { inches: true, ..Voice::plain("en-US") };
        assert_eq!(voice.speak("12 in and 3.5 in").heard(), "12 inches and three and five tenths inches");
        assert!(!Voice::after(&family("say-tenths")).inches);
    }

    #[test]
    fn the_shown_text_is_the_text_in_every_family() {
        for family in qbank::bank::families().unwrap() {
            for locale in ["en-US", "es-US"] {
                let Ok(item) = family.draw("spoken", 1, locale) else { continue };
                let voice = Voice::of(&item);
                for text in item.steps.iter().map(|step| step.prompt.as_str()).chain([item.stem.as_str()]) {
                    assert_eq!(voice.speak(text).shown(), text);
                }
            }
        }
    }

    #[test]
    fn hostile_text_stays_text() {
        let html =
            Voice::plain("en-US").speak("<script>alert(3.45)</script> \"onload=\" 2.5 kg & <b>").to_string();
        assert!(!html.contains("<script") && !html.contains("<b>") && !html.contains("\"onload"), "{html}");
        assert!(html.contains("three and forty-five hundredths"), "{html}");
        // Placed in another template it is not escaped a second time.
        #[derive(Template)]
        #[template(ext = "html", source = "<p>{{ text }}</p>")]
        struct Page {
            text: Spoken,
        }
        let page = Page { text: Voice::plain("en-US").speak("<3.4>") }.render().unwrap();
        assert_eq!(
            page,
            "<p>&#60;<span aria-hidden=\"true\">3.4</span><span class=\"spoken\">three and four tenths</span>&#62;</p>"
        );
    }
}
