//! Items that the platform varies itself: from a [`Family`] to one item with template processing.
//!
//! Numbers are drawn as integers in units of their last place, answers and predicted wrong answers are worked out as
//! integers of at most 32 bits (proven from the ranges), and one division at the end makes the float that is printed
//! and compared. A template draws from that part of a family in which every number has the same count of places each
//! time, because a platform prints a variable with a fixed count. Constraints stand for the family's demands; the
//! defaults are a draw that satisfies them all.
//!
//! What the standard cannot express is refused with a [`Refusal`]: the family is exported fixed then, and the export
//! says so. Two things a template never does: it reads no text as typed but the form asked for (an answer with its
//! unit or with thousands commas is not read), and it tells one of the family's stories, not all.
//!
//! Modules in reading order: `integer` (bounded integer expressions), `program` (rules, and a run of them),
//! `formulas` (the expression language), `misconceptions` (rule by rule), `givens`, `constraints`, `texts`, `steps`;
//! `drawn` is the way back from what a platform drew.
mod constraints;
mod drawn;
mod formulas;
mod givens;
mod integer;
mod misconceptions;
mod program;
mod steps;
mod texts;

use std::collections::BTreeMap;

use qbank::{
    decimal::Decimal,
    draw::Draws,
    family::{DrawError, Family},
    question::Item,
};

pub use self::drawn::{NotDrawn, item_name, reference_name};
use self::{
    formulas::Formulas,
    givens::Mistakes,
    integer::{Fixed, Int, Test},
    program::{Held, Program, Variables},
    texts::Told,
};
use super::{
    Solution,
    from_item::{Ending, whole},
    model::{AssessmentItem, BaseType, Block, Identifier, IdentifierError, Inline, OutcomeDeclaration},
    processing::{Expression, TemplateRule},
    report::{LeftOut, Reason},
    wording::Wording,
};

/// How many draws are tried to see how often one satisfies all constraints.
const TRIED: u32 = 200;
/// How many draws are looked at to see with how many places a number is written.
const LOOKED_AT: u32 = 60;
/// The smallest share of them that is enough, in percent: a platform gives up after 100.
const LEAST_SHARE: u32 = 20;

/// Why a family is not expressed as a template.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// A section draws from more than one family, so that no single template stands for it.
    #[error("the section draws from more than one family")]
    SeveralFamilies,
    /// The question bank at hand does not have the family in that version.
    #[error("the question bank does not have version {version} of it")]
    UnknownFamily {
        /// The version of the questions.
        version: u32,
    },
    /// A misconception whose rule has no translation into integer expressions.
    #[error("the misconception '{id}' has no translation into expressions of the standard")]
    Misconception {
        /// Its id.
        id: &'static str,
    },
    /// A value could need more than 32 bits.
    #[error("a value could outgrow the standard's integers of 32 bits")]
    TooLarge,
    /// A constraint that is never true.
    #[error("no draw satisfies the demands where each number has a fixed count of places")]
    NeverFits,
    /// Too few draws satisfy the constraints.
    #[error("{percent} of 100 draws satisfy the constraints; expected {LEAST_SHARE} or more")]
    RarelyFits {
        /// How many of a hundred.
        percent: u32,
    },
    /// A number or an answer in words.
    #[error("the standard cannot put numbers into words")]
    Words,
    /// A text that no template can tell.
    #[error("the text '{slot}' depends on a number in a way that no variable tells")]
    Slot {
        /// The slot.
        slot: String,
    },
    /// A language without words for feedback, or numbers with a comma.
    #[error("there are no words, or no decimal point, for '{locale}'")]
    Locale {
        /// The locale.
        locale: String,
    },
    /// An acceptance rule or a form that depends on the answer.
    #[error("step '{step}' accepts answers by a rule or a form that depends on the answer")]
    Acceptance {
        /// The step.
        step: String,
    },
    /// An expression names something that is no number.
    #[error("'{name}' is no number that the template knows")]
    NoNumber {
        /// The name.
        name: String,
    },
    /// A comparison, an order or a conversion inside another expression.
    #[error("an expression is nested in a way that is not translated")]
    Nested,
    /// A quotient that a misconception changes is rounded, or its whole part taken.
    #[error("a quotient that a misconception changes is rounded, or its whole part taken")]
    PartOfBent,
    /// A name that the standard does not take.
    #[error(transparent)]
    Identifier(#[from] IdentifierError),
    /// Something of a later step cannot be carried over.
    #[error(transparent)]
    Reason(#[from] Reason),
    /// The family has no question to take its steps from.
    #[error(transparent)]
    Draw(Box<DrawError>),
}

impl From<DrawError> for Refusal {
    fn from(error: DrawError) -> Self {
        Self::Draw(Box::new(error))
    }
}

/// A family as a template.
#[derive(Clone, Debug)]
pub struct Template {
    /// The item.
    pub item: AssessmentItem,
    /// What it does less than the family says.
    pub left_out: Vec<LeftOut>,
    /// How many of 100 draws satisfy all constraints.
    pub share: u32,
    /// The names of the integer variables of the givens that are drawn, in the order of the family, with their places.
    pub givens: Vec<(String, u32)>,
}

/// Maps a family, in one of its languages.
///
/// # Errors
/// [`Refusal`], which says why the family is exported fixed.
pub fn map_family(
    family: &Family,
    locale: &str,
    solution: Solution,
    attempts: u32,
) -> Result<Template, Refusal> {
    let words = Wording::for_locale(locale).ok_or_else(|| Refusal::Locale { locale: locale.to_owned() })?;
    // Stands for all questions of the family where only steps, points and the like are needed.
    let sample = family.draws("template", 0, locale).next().ok_or(Refusal::NeverFits)??;
    let mut mapping = Mapping::new(family, locale, words, &sample)?;
    mapping.add_givens()?;
    mapping.add_keys()?;
    mapping.add_constraints()?;
    mapping.tell()?;
    mapping.add_steps()?;
    mapping.finished(solution, attempts)
}

/// A template as far as it is mapped.
struct Mapping<'f> {
    family: &'f Family,
    locale: &'f str,
    words: &'static Wording,
    /// One question of the family.
    sample: &'f Item,
    program: Program,
    /// Numbers by name: givens, and steps with a value.
    names: BTreeMap<String, Fixed>,
    /// The same as float variables.
    floats: BTreeMap<String, Identifier>,
    /// What the mistakes lead to that a given may come from.
    mistakes: BTreeMap<String, Mistakes>,
    /// The right answer of each step.
    keys: Vec<steps::Key>,
    told: Told,
    item: AssessmentItem,
    scores: Vec<Expression>,
    answered: Vec<Expression>,
    rubric: Vec<Block>,
    working: Vec<Block>,
    left_out: Vec<LeftOut>,
}

impl<'f> Mapping<'f> {
    fn new(
        family: &'f Family,
        locale: &'f str,
        words: &'static Wording,
        sample: &'f Item,
    ) -> Result<Self, Refusal> {
        let maximum = sample.max_points();
        let identifier = item_name(&family.id, family.version, locale);
        let item = AssessmentItem {
            identifier: Identifier::new(&identifier)?,
            title: sample.title.clone(),
            language: locale.into(),
            responses: Vec::new(),
            outcomes: vec![
                OutcomeDeclaration::score(Identifier::fixed("SCORE"), Decimal::ZERO, Some(maximum)),
                OutcomeDeclaration::score(Identifier::fixed("MAXSCORE"), whole(maximum), None),
            ],
            templates: Vec::new(),
            template_processing: Vec::new(),
            body: Vec::new(),
            // Its numbers are not known yet, so no card can say them.
            catalog: Vec::new(),
            processing: Vec::new(),
            feedback: Vec::new(),
        };
        Ok(Self {
            family,
            locale,
            words,
            sample,
            program: Program::default(),
            names: BTreeMap::new(),
            floats: BTreeMap::new(),
            mistakes: BTreeMap::new(),
            keys: Vec::new(),
            told: Told::default(),
            item,
            scores: Vec::new(),
            answered: Vec::new(),
            rubric: Vec::new(),
            working: Vec::new(),
            left_out: Vec::new(),
        })
    }

    fn formulas(&mut self) -> Formulas<'_> {
        Formulas { program: &mut self.program, names: &self.names }
    }

    fn demand(&mut self, test: &Test) -> Result<(), Refusal> {
        if self.program.demand(test) { Ok(()) } else { Err(Refusal::NeverFits) }
    }

    fn draws(&self, what: &str) -> Draws {
        Draws::keyed(&format!("template/{}/{}/{what}", self.family.id, self.family.version))
    }

    /// Puts a number under its name: the integer for further working, the float for printing and comparing.
    fn know(&mut self, role: &str, name: &str, number: &Fixed) -> Result<(), Refusal> {
        let units = Identifier::new(&format!("UNITS_{name}"))?;
        let float = Identifier::new(&format!("{role}_{name}"))?;
        self.program.reaches(number.units.peak);
        self.program.set(&units, BaseType::Integer, number.units.expression.clone());
        let Int { low, high, .. } = number.units;
        let kept =
            Int { expression: Expression::variable(&units), low, high, peak: low.abs().max(high.abs()) };
        let kept = Fixed::new(kept, number.places);
        if let Expression::Variable(drawn) = &number.units.expression {
            self.program.same_values(drawn, &units);
        }
        let value = formulas::Amount::Fixed(kept.clone()).float();
        self.program.set(&float, BaseType::Float, value);
        self.names.insert(name.to_owned(), kept);
        self.floats.insert(name.to_owned(), float);
        Ok(())
    }

    /// The same number, drawn so that it always has the count of places that it has most often.
    fn settled(&mut self, number: &Fixed, what: &str) -> Result<Fixed, Refusal> {
        let units = self.program.keep(&number.units);
        let Expression::Variable(variable) = &units.expression else {
            // Certain from the ranges alone.
            let certain = units.certain().unwrap_or(0);
            let number = Decimal::new(certain.into(), number.places).map(|number| number.normalized());
            return number.ok().and_then(|number| Fixed::literal(&number)).ok_or(Refusal::TooLarge);
        };
        let mut counts: BTreeMap<u32, u32> = BTreeMap::new();
        let mut draws = self.draws(what);
        for _ in 0..LOOKED_AT {
            let run = self.program.run(&mut draws);
            let Some(Held::Integer(held)) = run.as_ref().and_then(|variables| variables.get(variable)) else {
                continue;
            };
            if let Ok(drawn) = Decimal::new((*held).into(), number.places) {
                *counts.entry(drawn.normalized().places()).or_default() += 1;
            }
        }
        let often = counts.iter().max_by_key(|(places, count)| (**count, **places));
        let places = *often.ok_or(Refusal::NeverFits)?.0;
        let settled = self.with_places(&Fixed::new(units, number.places), places)?;
        if places > 0 {
            self.demand(&settled.units.last(1).is(0).not())?;
        }
        Ok(settled)
    }

    /// The same number written with so many places; drawn so that no digit is lost.
    fn with_places(&mut self, number: &Fixed, places: u32) -> Result<Fixed, Refusal> {
        match number.places.checked_sub(places) {
            None | Some(0) => Ok(Fixed::new(number.at(places), places)),
            Some(dropped) => {
                self.demand(&number.units.last(dropped).is(0))?;
                let units = self.program.keep(&number.units.cut(dropped));
                Ok(Fixed::new(units, places))
            }
        }
    }

    /// Demands that there is a value.
    fn demand_value(&mut self, number: &Fixed) -> Result<(), Refusal> {
        let Expression::Variable(_) = number.units.expression else { return Ok(()) };
        let given = Expression::Not(Box::new(Expression::IsNull(Box::new(number.units.expression.clone()))));
        self.demand(&Test::Open { expression: given, peak: 0 })
    }

    fn finished(mut self, solution: Solution, attempts: u32) -> Result<Template, Refusal> {
        if self.program.too_large {
            return Err(Refusal::TooLarge);
        }
        let (defaults, share) = self.tried()?;
        let (words, scores, answered) = (self.words, self.scores, std::mem::take(&mut self.answered));
        let mut item = self.item;
        let ending = Ending { words, scores, answered, rubric: self.rubric, working: self.working };
        ending.add_to(&mut item, solution, attempts);
        item.templates = self.program.declarations(&defaults);
        item.template_processing = self.program.rules;
        let givens = self.family.givens.iter().filter_map(|given| {
            self.names.get(given.name.as_str()).map(|number| (given.name.to_string(), number.places))
        });
        let givens = givens.collect();
        Ok(Template { item, left_out: self.left_out, share, givens })
    }

    /// A draw that satisfies everything, and how many of a hundred do.
    fn tried(&self) -> Result<(Variables, u32), Refusal> {
        let mut draws = self.draws("share");
        let runs: Vec<Variables> = (0..TRIED).filter_map(|_| self.program.run(&mut draws)).collect();
        let percent = u32::try_from(runs.len()).unwrap_or(TRIED) * 100 / TRIED;
        if percent < LEAST_SHARE {
            return Err(Refusal::RarelyFits { percent });
        }
        let first = runs.into_iter().next().ok_or(Refusal::NeverFits)?;
        Ok((first, percent))
    }
}

/// A paragraph of text and variables.
fn paragraph(content: Vec<Inline>) -> Block {
    Block::Paragraph(content)
}

/// Says what a template's right answer is to a platform.
fn correct(response: &Identifier, key: &Identifier) -> TemplateRule {
    TemplateRule::SetCorrectResponse(response.clone(), Expression::variable(key))
}
