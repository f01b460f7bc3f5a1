//! The words of our own that stand in an item: everything that is neither the question's text nor a misconception's.
//!
//! One table a language; an item in a language without a table is refused rather than mixed. So is one for a region with
//! a decimal comma: engines read the numbers that pupils type, and the standard gives them the point alone.
use qbank::{
    locale::{Language, Locale},
    question::Step,
    units,
};

/// The words in one language.
#[derive(Debug)]
pub(crate) struct Wording {
    /// Which language it is, for the sentences that the question bank has.
    pub(super) language: Language,
    pub(super) blank: &'static str,
    pub(crate) right: &'static str,
    pub(super) follow_through: &'static str,
    pub(crate) form: &'static str,
    pub(super) unreadable: &'static str,
    pub(super) unreadable_words: &'static str,
    pub(crate) other: &'static str,
    pub(super) solution: &'static str,
    step: &'static str,
    point: &'static str,
    points: &'static str,
    answer: &'static str,
    scorer_follow_through: &'static str,
}

const ENGLISH: Wording = Wording {
    language: Language::English,
    blank: "There is no answer here.",
    right: "Right.",
    follow_through: "Right from your own earlier value. Look at the earlier step again.",
    form: "The value is right, the way it is written is not.",
    unreadable: "This could not be read as a number. Write it with digits and a point, as in 3.25.",
    unreadable_words: "This could not be read as a number in words. Name the last place, as in three and five tenths.",
    other: "Not right. Go through your working once more, place by place.",
    solution: "Worked solution",
    step: "Step",
    point: "point",
    points: "points",
    answer: "answer",
    scorer_follow_through: "A value that is right from the pupil's own earlier value earns full points.",
};

const SPANISH: Wording = Wording {
    language: Language::Spanish,
    blank: "Aquí no hay respuesta.",
    right: "Correcto.",
    follow_through: "Correcto a partir de tu propio valor anterior. Revisa otra vez el paso anterior.",
    form: "El valor es correcto, pero la forma de escribirlo no.",
    unreadable: "No se pudo leer como un número. Escríbelo con dígitos y un punto, como 3.25.",
    unreadable_words: "No se pudo leer como un número en palabras. Nombra la última posición, como en tres unidades y cinco décimas.",
    other: "No es correcto. Repasa tus cálculos una vez más, posición por posición.",
    solution: "Solución paso a paso",
    step: "Paso",
    point: "punto",
    points: "puntos",
    answer: "respuesta",
    scorer_follow_through: "Un valor correcto a partir del propio valor anterior del estudiante recibe todos los puntos.",
};

impl Wording {
    /// The words for a locale such as `en-US`.
    pub(super) fn for_locale(locale: &str) -> Option<&'static Self> {
        let known = Locale::by_tag(locale).filter(|locale| locale.point == '.')?;
        known.language().map(Self::of)
    }

    /// The words in a language.
    pub(crate) fn of(language: Language) -> &'static Self {
        match language {
            Language::English => &ENGLISH,
            Language::Spanish => &SPANISH,
        }
    }

    /// `Step 2`, where there is more than one.
    pub(crate) fn step_label(&self, index: usize, steps: usize) -> Option<String> {
        (steps > 1).then(|| format!("{} {}", self.step, index + 1))
    }

    /// What a box for an answer is called where nothing else names it.
    pub(super) fn answer_label(&self) -> &'static str {
        self.answer
    }

    /// What a scorer is told of a step.
    pub(super) fn scoring(&self, step: &Step, answer: &str, follows: bool) -> String {
        let points = if step.points == 1 { self.point } else { self.points };
        let explained = step.accept.explained(self.language);
        let mut text = format!("{} {answer}, {} {points}.", self.answer, step.points);
        for sentence in [explained.as_str(), if follows { self.scorer_follow_through } else { "" }] {
            if !sentence.is_empty() {
                text.push(' ');
                text.push_str(sentence);
            }
        }
        text
    }
}

/// Text before and after the box for a number, from the answer's unit.
pub(super) fn around_box(unit: Option<&str>) -> (String, String) {
    match unit.and_then(units::by_symbol) {
        Some(unit) if unit.leads => (unit.symbol.to_owned(), String::new()),
        Some(unit) => (String::new(), format!(" {}", unit.symbol)),
        None => (String::new(), unit.map(|unit| format!(" {unit}")).unwrap_or_default()),
    }
}
