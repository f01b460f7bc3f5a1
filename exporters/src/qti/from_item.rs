//! From a proven item to an item of the standard: one question with all its steps, as one composite item.
//!
//! Every step has variables of its own (see `StepNames`): what the pupil gave, the text as typed, the points, what
//! the answer is consistent with, the value later steps build on, and the value expected from earlier own values.
//! A step is judged in the order of [`qbank::marking`]: blank, right, right in another form, right from the pupil's
//! own earlier value, predicted by a misconception, unreadable, not right. Two things stay behind in the project's
//! own marking: it reads fractions and other units, and it predicts wrong answers from a pupil's own earlier values.
//! What the patterns for numbers in words leave out stands in `in_words`.
use qbank::{
    decimal::Decimal,
    question::{Item, Step},
};
use smol_str::SmolStr;

use super::{
    ExportError, Solution,
    from_step::StepMapping,
    model::{
        AssessmentItem, BaseType, Block, Identifier, IdentifierError, ModalFeedback, OutcomeDeclaration,
        RubricBlock,
    },
    processing::{Branch, Expression, Rule, Value},
    report::LeftOut,
    spoken,
    wording::Wording,
};

/// An item of the standard, and what it loses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mapped {
    /// The item.
    pub item: AssessmentItem,
    /// What the item does less than the question says.
    pub left_out: Vec<LeftOut>,
}

/// Maps an item.
///
/// # Errors
/// [`ExportError::Locale`], [`ExportError::Identifier`], [`ExportError::TooLong`]; each names
/// the item and the step.
pub fn map_item(item: &Item, solution: Solution, attempts: u32) -> Result<Mapped, ExportError> {
    let words = Wording::for_locale(&item.locale)
        .ok_or_else(|| ExportError::Locale { item: item.id.to_string(), locale: item.locale.to_string() })?;
    let mut mapping = Mapping::new(item, words)?;
    for (index, (step, proven)) in item.steps_proven().enumerate() {
        let at = At { item: &item.id, step: &step.id };
        let names = StepNames::of(step).map_err(|source| at.identifier(source))?;
        StepMapping { mapping: &mut mapping, step, proven, names, index, at }.add()?;
    }
    Ok(mapping.finished(solution, attempts))
}

/// The variables of one step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct StepNames {
    /// The response.
    pub(super) response: Identifier,
    /// The text as typed.
    pub(super) raw: Identifier,
    /// Points earned.
    pub(super) score: Identifier,
    /// What the answer is, or is consistent with.
    pub(super) feedback: Identifier,
    /// What later steps build on.
    pub(super) value: Identifier,
    /// The answer that follows from the pupil's own earlier values.
    pub(super) expected: Identifier,
}

impl StepNames {
    /// The names, made from the step's id.
    pub(super) fn of(step: &Step) -> Result<Self, IdentifierError> {
        let name = |role: &str| Identifier::new(&format!("{role}_{}", step.id));
        Ok(Self {
            response: name("RESPONSE")?,
            raw: name("RAW")?,
            score: name("SCORE")?,
            feedback: name("FEEDBACK")?,
            value: name("VALUE")?,
            expected: name("EXPECTED")?,
        })
    }
}

/// Where in a pool something is, for messages.
#[derive(Clone, Copy)]
pub(super) struct At<'i> {
    /// The question's id.
    pub(super) item: &'i str,
    /// The step's id.
    pub(super) step: &'i str,
}

impl At<'_> {
    pub(super) fn identifier(self, source: IdentifierError) -> ExportError {
        ExportError::Identifier { place: format!("item '{}', step '{}'", self.item, self.step), source }
    }

    pub(super) fn too_long(self) -> ExportError {
        ExportError::TooLong { item: self.item.to_owned(), step: self.step.to_owned() }
    }
}

/// The item as far as it is mapped.
pub(super) struct Mapping<'i> {
    pub(super) source: &'i Item,
    pub(super) words: &'static Wording,
    pub(super) item: AssessmentItem,
    /// Points of each step, to sum up at the end.
    pub(super) scores: Vec<Expression>,
    /// Whether each variable has a response.
    pub(super) answered: Vec<Expression>,
    pub(super) rubric: Vec<Block>,
    pub(super) solution: Vec<Block>,
    pub(super) left_out: Vec<LeftOut>,
}

impl<'i> Mapping<'i> {
    fn new(source: &'i Item, words: &'static Wording) -> Result<Self, ExportError> {
        let identifier = Identifier::new(&source.id).map_err(|error| ExportError::Identifier {
            place: format!("item '{}'", source.id),
            source: error,
        })?;
        let maximum = source.max_points();
        let item = AssessmentItem {
            identifier,
            title: source.title.clone(),
            language: source.locale.clone(),
            responses: Vec::new(),
            outcomes: vec![
                OutcomeDeclaration::score(Identifier::fixed("SCORE"), Decimal::ZERO, Some(maximum)),
                OutcomeDeclaration::score(Identifier::fixed("MAXSCORE"), whole(maximum), None),
            ],
            templates: Vec::new(),
            template_processing: Vec::new(),
            body: paragraphs(&source.stem),
            catalog: spoken::cards(source, words.language),
            processing: Vec::new(),
            feedback: Vec::new(),
        };
        Ok(Self {
            source,
            words,
            item,
            scores: Vec::new(),
            answered: Vec::new(),
            rubric: Vec::new(),
            solution: Vec::new(),
            left_out: Vec::new(),
        })
    }

    fn finished(self, solution: Solution, attempts: u32) -> Mapped {
        let Self { words, mut item, scores, answered, rubric, solution: working, left_out, .. } = self;
        Ending { words, scores, answered, rubric, working }.add_to(&mut item, solution, attempts);
        Mapped { item, left_out }
    }
}

/// What stands at the end of every item: the sum of points, what scorers read, and the solution by policy.
pub(super) struct Ending {
    pub(super) words: &'static Wording,
    /// Points of each step.
    pub(super) scores: Vec<Expression>,
    /// Whether each response variable has a value.
    pub(super) answered: Vec<Expression>,
    pub(super) rubric: Vec<Block>,
    pub(super) working: Vec<Block>,
}

impl Ending {
    pub(super) fn add_to(self, item: &mut AssessmentItem, solution: Solution, attempts: u32) {
        let Self { words, scores, answered, mut rubric, working } = self;
        let score = Identifier::fixed("SCORE");
        item.processing.push(Rule::SetOutcomeValue(score.clone(), Expression::Sum(scores)));
        if solution == Solution::ForScorers {
            rubric.push(Block::text(SmolStr::new_static(words.solution)));
            rubric.extend(working);
        } else if solution == Solution::AfterLastAttempt {
            let (outcome, shown) = (Identifier::fixed("SOLUTION"), Identifier::fixed("WORKED"));
            item.outcomes.push(OutcomeDeclaration::unset(outcome.clone(), BaseType::Identifier));
            item.processing.push(Rule::Condition {
                branches: vec![Branch {
                    test: Expression::And(vec![Expression::any(answered), no_attempt_left(score, attempts)]),
                    rules: vec![Rule::set_identifier(&outcome, &shown)],
                }],
                otherwise: Vec::new(),
            });
            let title = Some(SmolStr::new_static(words.solution));
            item.feedback.push(ModalFeedback { outcome, identifier: shown, title, content: working });
        }
        item.body.push(Block::Rubric(RubricBlock { content: rubric }));
    }
}

/// True when nothing can be gained any more: the last attempt is over, or everything is right.
fn no_attempt_left(score: Identifier, attempts: u32) -> Expression {
    let all_right = Expression::Gte(
        Box::new(Expression::Variable(score)),
        Box::new(Expression::Variable(Identifier::fixed("MAXSCORE"))),
    );
    match attempts {
        0 => all_right,
        // Always true, and said without `numAttempts`: engines differ in when they count an attempt.
        1 => Expression::BaseValue(Value::Boolean(true)),
        _ => Expression::Or(vec![
            all_right,
            Expression::Gte(
                Box::new(Expression::Variable(Identifier::fixed("numAttempts"))),
                Box::new(Expression::BaseValue(Value::Integer(attempts))),
            ),
        ]),
    }
}

/// A whole number as a decimal.
pub(super) fn whole(number: u32) -> Decimal {
    Decimal::new(i128::from(number), 0).expect("a u32 has at most 10 digits")
}

/// A text after the name of its step, where there are several.
pub(super) fn labelled(label: Option<&str>, text: &str) -> String {
    label.map_or_else(|| text.to_owned(), |label| format!("{label}: {text}"))
}

/// One paragraph a line of the text.
fn paragraphs(text: &str) -> Vec<Block> {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).map(Block::text).collect()
}
