//! What one marked item says for and against each misconception.
//!
//! Marking has already judged the answers. Here each step is looked at from the pupil's own earlier values once more, to
//! see which misconceptions lead to a wrong answer of their own: only there is an answer evidence for or against one.
//! Blank and unreadable answers are none.
use alloc::{collections::BTreeSet, string::String, vec::Vec};

use super::model::{Group, Sight};
use crate::{
    arithmetic::{Columns, evaluate},
    expression::{Expression, Names, Operation},
    marking::{Mark, StepMark, Verdict, answered},
    misconceptions::{self, Misconception},
    question::{Item, Key, ProvenStep, Step, StepKind},
};

/// Wrong answers beyond the predicted ones that a careless pupil may well give to a typed question.
const UNPREDICTED: u64 = 2;

/// What one marked item says. Built in the order in which the pupil answered.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// The item's id.
    pub item: String,
    pub(super) steps: Vec<StepEvidence>,
}

/// What one answered step says.
#[derive(Clone, Debug)]
pub(super) struct StepEvidence {
    pub(super) right: bool,
    /// How many wrong answers a careless pupil may well give.
    pub(super) plausible: u64,
    /// How the answer looks from each misconception that shows on the step.
    pub(super) sights: Vec<(&'static str, Sight)>,
}

impl Evidence {
    /// Looks at the mark of this item; steps that the mark does not have are passed over.
    ///
    /// # Example
    /// ```
    /// use qbank::{bank, diagnosis::{Evidence, diagnose}, marking::mark};
    /// let family = bank::family("add-ragged")?;
    /// let evidence: Vec<Evidence> = (0..3).map(|position| {
    ///     let item = family.draw("a seed", position, "en-US")?;
    ///     Ok(Evidence::of(&item, &mark(&item, "p-07", &item.right_responses())))
    /// }).collect::<Result<_, Box<dyn std::error::Error>>>()?;
    /// assert!(diagnose(&evidence).iter().all(|diagnosis| diagnosis.named.is_empty()));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn of(item: &Item, mark: &Mark) -> Self {
        let themes = Themes::of(item);
        let mut right = item.given_names();
        let mut own = right.clone();
        let mut steps = Vec::new();
        for (step, proven) in item.steps_proven() {
            let Some(marked) = mark.steps.iter().find(|marked| marked.id == step.id) else { continue };
            let given = answered(item, step, &marked.response);
            let bench = Bench::new(step, proven, &own, own != right);
            steps.extend(bench.evidence(&themes, marked, given.as_ref()));
            // As in marking: later steps build on what the pupil answered, else on the key.
            let value = given.and_then(|key| step.value_of(&key)).or(proven.value);
            own.extend(value.map(|value| (step.id.clone(), value)));
            right.extend(proven.value.map(|value| (step.id.clone(), value)));
        }
        Self { item: item.id.clone().into(), steps }
    }
}

/// Which misconceptions a question is about.
///
/// A rule sees numbers, not the story around them: `35 / 100` may be centimetres or hundredths, and only one who is asked
/// for metres can mistake the factor. So a question is about the misconceptions that it predicts a wrong answer for, and
/// others of the same theme, the first word of the id. Besides, a step that is nothing but one operation on given
/// numbers is about every misconception that bends this operation.
pub(super) struct Themes {
    predicted: BTreeSet<&'static str>,
    themes: BTreeSet<&'static str>,
}

impl Themes {
    pub(super) fn of(item: &Item) -> Self {
        let wrong = item.proven_steps().iter().flat_map(|proven| &proven.wrong);
        let predicted: BTreeSet<_> = wrong.flat_map(|wrong| wrong.misconceptions.iter().copied()).collect();
        let themes = predicted.iter().filter_map(|id| id.split('-').next()).collect();
        Self { predicted, themes }
    }

    fn include(&self, misconception: &Misconception, expression: &Expression) -> bool {
        let theme = || misconception.id.split('-').next().is_some_and(|word| self.themes.contains(word));
        match Group::of(misconception) {
            _ if self.predicted.contains(misconception.id) => true,
            Group::Places | Group::Stories => theme(),
            _ => is_one_operation(expression),
        }
    }
}

/// Whether the expression is one operation, comparison, order or rounding of plain numbers. Moving the point is none:
/// nobody works it in columns.
fn is_one_operation(expression: &Expression) -> bool {
    let plain = |part: &Expression| matches!(part, Expression::Name(_) | Expression::Literal(_));
    let by_literal = |part: &Expression| matches!(part, Expression::Literal(_));
    match expression {
        Expression::Binary(Operation::Multiply | Operation::Divide, left, right) => {
            plain(left) && plain(right) && !by_literal(left) && !by_literal(right)
        }
        Expression::Binary(_, left, right) | Expression::Comparison(left, right) => {
            plain(left) && plain(right)
        }
        Expression::Call(_, parts) | Expression::Order(_, parts) => parts.iter().all(plain),
        Expression::Name(_) | Expression::Literal(_) => false,
    }
}

/// One step with the values that a pupil brings to it.
pub(super) struct Bench<'i> {
    step: &'i Step,
    proven: &'i ProvenStep,
    own: &'i Names,
    /// What is right from the pupil's own values; the key, where nothing can be worked from them.
    own_right: Key,
}

impl<'i> Bench<'i> {
    pub(super) fn new(step: &'i Step, proven: &'i ProvenStep, own: &'i Names, differs: bool) -> Self {
        let from_own = differs
            .then(|| evaluate(&Columns, &proven.expression, own).ok())
            .flatten()
            .and_then(|value| step.key_for(&value).ok());
        Self { step, proven, own, own_right: from_own.unwrap_or_else(|| proven.key.clone()) }
    }

    pub(super) fn own_right(&self) -> &Key {
        &self.own_right
    }

    /// The wrong answer that a misconception leads to here, if the question is about it.
    pub(super) fn answer_of(&self, misconception: &Misconception, themes: &Themes) -> Option<Key> {
        let about = themes.include(misconception, &self.proven.expression);
        about.then(|| self.answers_of(misconception).into_iter().next())?
    }

    /// The wrong answers that a misconception leads to here: one, none where it makes no difference, more where the
    /// family states a mistake beside the rule.
    fn answers_of(&self, misconception: &Misconception) -> Vec<Key> {
        let named = self.proven.wrong.iter().filter(|wrong| wrong.misconceptions.contains(&misconception.id));
        let stated = named.filter_map(|wrong| evaluate(&Columns, wrong.stated.as_ref()?, self.own).ok());
        let by_rule = misconceptions::predict(misconception, &self.proven.expression, self.own);
        let mut keys = Vec::new();
        for key in stated.chain(by_rule).filter_map(|value| self.step.key_for(&value).ok()) {
            let right = [&self.proven.key, &self.own_right];
            if !right.iter().any(|right| self.step.marks_right(right, &key)) && !keys.contains(&key) {
                keys.push(key);
            }
        }
        keys
    }

    fn evidence(&self, themes: &Themes, marked: &StepMark, given: Option<&Key>) -> Option<StepEvidence> {
        let right = match marked.verdict {
            Verdict::Blank | Verdict::Unreadable => return None,
            Verdict::Wrong => false,
            _ => true,
        };
        let plausible = match self.step.kind {
            StepKind::Choice => self.step.choices.len() as u64 - 1,
            _ => self.proven.wrong.len() as u64 + UNPREDICTED,
        };
        let sights = misconceptions::all().filter_map(|misconception| {
            let sight = if themes.include(misconception, &self.proven.expression) {
                self.sight(misconception, right, marked, given)
            } else {
                let hit = !right && given.is_some_and(|given| self.answers_of(misconception).contains(given));
                hit.then_some(Sight::Aside)
            };
            Some((misconception.id, sight?))
        });
        Some(StepEvidence { right, plausible, sights: sights.collect() })
    }

    /// How the answer looks from a misconception that the item is about.
    fn sight(
        &self,
        misconception: &Misconception,
        right: bool,
        marked: &StepMark,
        given: Option<&Key>,
    ) -> Option<Sight> {
        if marked.misconceptions.iter().any(|name| name == misconception.id) {
            return Some(Sight::Hit);
        }
        let answers = self.answers_of(misconception);
        match (answers.is_empty(), right) {
            (true, _) => None,
            (false, true) => Some(Sight::Contrary),
            (false, false) if given.is_some_and(|given| answers.contains(given)) => Some(Sight::Hit),
            (false, false) => Some(Sight::Elsewhere),
        }
    }
}
