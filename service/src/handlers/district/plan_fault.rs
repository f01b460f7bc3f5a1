//! Why a plan makes no pool, in the reader's language.

use qbank::family::FamilyErrors;
use qbank::plan::{Asked, PlanError, Source};
use qbank::pool::PoolError;

use super::families;
use crate::texts::Texts;

/// Questions that a plan made on a page may ask for; larger pools are made at the command line.
pub(super) const QUESTIONS_MOST: u64 = 5_000;

/// Why a plan makes no pool.
#[derive(Debug)]
pub(super) enum PlanFault {
    /// It asks for more than [`QUESTIONS_MOST`].
    TooLarge,
    /// As the plan's reader or maker says.
    Plan(PlanError),
    /// A family of the bank cannot be read: a fault of ours.
    Bank(FamilyErrors),
}

impl PlanFault {
    /// A sentence for the head of the page. What the reader of TOML says of a place is quoted, in its own words.
    pub(super) fn told(&self, texts: &Texts) -> String {
        let problem = match self {
            Self::TooLarge => {
                return texts.with("content-plan-too-large", &[("most", QUESTIONS_MOST.into())]);
            }
            Self::Plan(error) => plan(texts, error),
            Self::Bank(error) => quoted(texts, &error.to_string()),
        };
        texts.with("content-plan-fault", &[("problem", problem.into())])
    }
}

fn quoted(texts: &Texts, words: &str) -> String {
    texts.with("problems-quoted", &[("text", words.into())])
}

fn plan(texts: &Texts, error: &PlanError) -> String {
    match error {
        PlanError::Malformed { line, column, message } => {
            let message = quoted(texts, message);
            let place = [("line", (*line).into()), ("column", (*column).into()), ("message", message.into())];
            texts.with("content-fault-malformed", &place)
        }
        PlanError::UnknownFamily { section, family } => texts.with(
            "content-fault-family",
            &[("section", (*section).into()), ("family", family.as_str().into())],
        ),
        PlanError::UnknownStandard { section, standard, known } => texts.with(
            "content-fault-code",
            &[
                ("section", (*section).into()),
                ("code", standard.as_str().into()),
                ("known", known.as_str().into()),
            ],
        ),
        PlanError::NoFamily { section, asked, locale } => texts.with(
            "content-fault-none",
            &[
                ("section", (*section).into()),
                ("asked", told(texts, asked).into()),
                ("locale", locale.as_str().into()),
            ],
        ),
        PlanError::TooFew { section, asked, wanted, found } => {
            let families = found.iter().map(|family| {
                let message =
                    if family.given_up { "content-fault-given-up" } else { "content-fault-used-up" };
                let counted = [("family", family.family.as_str().into()), ("count", family.count.into())];
                texts.with(message, &counted)
            });
            let families = families.collect::<Vec<_>>().join("; ");
            texts.with(
                "content-fault-too-few",
                &[
                    ("section", (*section).into()),
                    ("asked", told(texts, asked).into()),
                    ("wanted", (*wanted).into()),
                    ("families", families.into()),
                ],
            )
        }
        PlanError::Draw { section, source } => texts.with(
            "content-fault-draw",
            &[("section", (*section).into()), ("message", quoted(texts, &source.to_string()).into())],
        ),
        PlanError::Pool(error) => pool(texts, error),
        other => quoted(texts, &other.to_string()),
    }
}

fn pool(texts: &Texts, error: &PoolError) -> String {
    match error {
        PoolError::BadId(id) => texts.with("content-fault-id", &[("id", id.as_str().into())]),
        PoolError::TooFew { section, items, pick } => texts.with(
            "content-fault-pick",
            &[("section", section.as_str().into()), ("items", (*items).into()), ("pick", (*pick).into())],
        ),
        PoolError::Empty => texts.say("content-fault-empty"),
        other => quoted(texts, &other.to_string()),
    }
}

/// Which questions were asked for, as a part of a sentence.
fn told(texts: &Texts, asked: &Asked) -> String {
    let mut parts = vec![match &asked.source {
        Source::Family(family) => texts.with("content-asked-family", &[("family", family.as_str().into())]),
        Source::Standards(codes) => texts.with("content-asked-codes", &[("codes", codes.join(", ").into())]),
    }];
    let (from, to) = (*asked.levels.start(), *asked.levels.end());
    match (from, to) {
        (1, 5) => {}
        (level, to) if level == to => {
            parts.push(texts.with("content-asked-level", &[("level", level.into())]));
        }
        (from, to) => {
            parts.push(texts.with("content-asked-levels", &[("from", from.into()), ("to", to.into())]));
        }
    }
    if let Some(kind) = asked.kind {
        let kind = texts.say(families::kind_message(kind));
        parts.push(texts.with("content-asked-kind", &[("kind", kind.into())]));
    }
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use qbank::bank;
    use qbank::plan::Plan;

    use super::*;

    /// A plan of one section with these lines, and what is wrong with it.
    fn fault(id: &str, lines: &str) -> PlanError {
        let text = format!(
            "pool = \"{id}\"\ntitle = \"P\"\nseed = \"1\"\n[[section]]\ntitle = \"A\"\n{lines}\npick = 1\n"
        );
        let families = [bank::family("add-ragged").unwrap()];
        Plan::from_toml(&text).and_then(|plan| plan.make(&families, None)).unwrap_err()
    }

    #[test]
    fn every_fault_is_told_in_the_readers_language() {
        for (id, lines, spanish, english) in [
            (
                "p",
                "count = 1",
                "Este plan no da ningún banco: línea 4, columna 1: «",
                "This plan makes no pool: line 4, column 1: “",
            ),
            (
                "p",
                "family = \"add-moons\"\ncount = 1",
                "Este plan no da ningún banco: sección 1: no hay ninguna familia «add-moons».",
                "This plan makes no pool: section 1: there is no family “add-moons”.",
            ),
            (
                "p",
                "standards = [\"9.Z\"]\ncount = 1",
                "Este plan no da ningún banco: sección 1: ninguna familia es para 9.Z; las hay para ",
                "This plan makes no pool: section 1: no family is for 9.Z; there are families for ",
            ),
            (
                "p",
                "family = \"add-ragged\"\nkind = \"order\"\ncount = 1",
                "Este plan no da ningún banco: sección 1: no hay preguntas así en en-US: familia «add-ragged», tipo de respuesta: un orden.",
                "This plan makes no pool: section 1: there are no such questions in en-US: family “add-ragged”, kind of answer: an order.",
            ),
            (
                "p",
                "family = \"add-ragged\"\ndifficulty = [5, 5]\ncount = 9",
                "Este plan no da ningún banco: sección 1: se piden 9 preguntas (familia «add-ragged», nivel 5) y se encontraron estas distintas: add-ragged ",
                "This plan makes no pool: section 1: 9 questions are asked for (family “add-ragged”, level 5), and these different ones were found: add-ragged ",
            ),
            (
                "9 lives",
                "family = \"add-ragged\"\ncount = 1",
                "Este plan no da ningún banco: «9 lives» no sirve como id",
                "This plan makes no pool: “9 lives” is no usable id",
            ),
        ] {
            for (language, begins) in [("es-US", spanish), ("en-US", english)] {
                let told = PlanFault::Plan(fault(id, lines)).told(Texts::of(language));
                assert!(told.starts_with(begins), "{told}");
            }
        }
    }
}
