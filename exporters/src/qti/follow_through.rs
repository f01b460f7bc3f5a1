//! From a step's expression to rules that work out what the pupil should have found from the own earlier values.
//!
//! The engine computes in binary floats, so every place where a hair's breadth would decide is widened by a slack
//! far below the last digit anybody writes: before rounding, at a limit, in a comparison. Parts of the expression
//! that name no earlier step are worked out here, exactly. Whole parts and digits are cut off after the slack was
//! added, so that 2.9 held as 2.8999… keeps its digits. What cannot be said safely in the standard's operators is
//! refused with a [`Reason`], which ends up in the export report. Which value a step without a readable response
//! stands for is decided by [`own_value`]: its key, as in [`qbank::marking`].
use std::collections::BTreeMap;

use qbank::{
    arithmetic::{self, Relation},
    decimal::Decimal,
    expression::{Expression as Formula, Function, Names, Operation},
    marking::ABSURD_FACTOR,
    question::{Choice, Item, Step, StepKind},
};

use super::{
    from_item::StepNames,
    model::{BaseType, Identifier, IdentifierError, OutcomeDeclaration},
    numeral,
    processing::{Branch, Expression, Rule, Value},
    report::Reason,
};

/// Places up to which slack must stay below what pupils write.
const PLACES: u32 = 4;
/// By how many places the point moves from a right value to an absurd one.
const ABSURD_SHIFT: i32 = ABSURD_FACTOR.ilog10().cast_signed();

/// Rules that set what the step's answer should be, given the own earlier values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Expected {
    /// Variables that the rules set, [`StepNames::expected`] among them.
    pub(super) outcomes: Vec<OutcomeDeclaration>,
    /// Rules to run before the step is scored.
    pub(super) rules: Vec<Rule>,
}

/// How the givens and the right values of steps are known when an item is written.
#[derive(Clone, Copy)]
pub(super) enum Known<'k> {
    /// Each is one number.
    Numbers,
    /// The platform draws them: each is a float variable.
    Variables(&'k BTreeMap<String, Identifier>),
}

/// Whether the step's expression names an earlier step.
pub(super) fn depends_on_steps(item: &Item, formula: &Formula) -> bool {
    formula.names().iter().any(|name| item.steps.iter().any(|step| step.id == *name))
}

/// The rules for one step; `formula` must name an earlier step.
///
/// The expected value is null where a difference falls below zero or no limit fits, where an own value leaves nothing
/// to work, and where it is absurd: the limits of [`qbank::marking`], beyond which no credit follows.
pub(super) fn expected<'i>(
    item: &'i Item,
    step: &'i Step,
    formula: &Formula,
    names: &StepNames,
    known: Known<'i>,
) -> Result<Expected, Reason> {
    let mut translation =
        Translation { item, step, known, guards: Vec::new(), rules: Vec::new(), outcomes: Vec::new() };
    let (base_type, found) = match formula {
        Formula::Comparison(left, right) => {
            let (left, right) = (translation.number(left)?, translation.number(right)?);
            (BaseType::Identifier, relation_rule(step, names, &left, &right)?)
        }
        _ => {
            let value = translation.number(formula)?;
            (BaseType::Float, Rule::SetOutcomeValue(names.expected.clone(), value))
        }
    };
    translation.guard_against_absurd(formula)?;
    let Translation { guards, mut rules, mut outcomes, .. } = translation;
    outcomes.push(OutcomeDeclaration::unset(names.expected.clone(), base_type));
    if guards.is_empty() {
        rules.push(found);
    } else {
        rules.push(Rule::Condition {
            branches: vec![Branch { test: Expression::all(guards), rules: vec![found] }],
            otherwise: vec![Rule::SetOutcomeValue(names.expected.clone(), Expression::Null)],
        });
    }
    Ok(Expected { outcomes, rules })
}

/// Rules that set [`StepNames::value`]: what later steps build on. A response that is missing, or no number to the
/// engine, leaves the key's value.
pub(super) fn own_value(step: &Step, key: Decimal, names: &StepNames) -> Result<Rule, IdentifierError> {
    let set = |value: Expression| vec![Rule::SetOutcomeValue(names.value.clone(), value)];
    let branches = match step.kind {
        StepKind::Choice => {
            let worth = step.choices.iter().filter_map(|choice| choice.value.map(|value| (choice, value)));
            let branch = |(choice, value): (&Choice, Decimal)| {
                let test = Expression::matches(&names.response, &Identifier::new(&choice.id)?);
                Ok(Branch { test, rules: set(Expression::float(value)) })
            };
            worth.map(branch).collect::<Result<Vec<_>, IdentifierError>>()?
        }
        StepKind::Number | StepKind::Order | StepKind::Words => vec![Branch {
            test: Expression::is_given(&names.response),
            rules: set(Expression::variable(&names.response)),
        }],
    };
    Ok(Rule::Condition { branches, otherwise: set(Expression::float(key)) })
}

/// Sets the choice that stands for the relation found; null where none does.
fn relation_rule(
    step: &Step,
    names: &StepNames,
    left: &Expression,
    right: &Expression,
) -> Result<Rule, Reason> {
    let set = |relation: Relation| {
        let choice = step.choices.iter().find(|choice| choice.text == relation.sign());
        let identifier = choice.map(|choice| Identifier::new(&choice.id)).transpose()?;
        let value = identifier.map_or(Expression::Null, |identifier| Expression::identifier(&identifier));
        Ok::<_, Reason>(vec![Rule::SetOutcomeValue(names.expected.clone(), value)])
    };
    let below = |small: &Expression, large: &Expression| {
        let widened = Expression::Sum(vec![small.clone(), Expression::float(numeral::slack(PLACES))]);
        Expression::Lt(Box::new(widened), Box::new(large.clone()))
    };
    Ok(Rule::Condition {
        branches: vec![
            Branch { test: below(left, right), rules: set(Relation::Less)? },
            Branch { test: below(right, left), rules: set(Relation::Greater)? },
        ],
        otherwise: set(Relation::Equal)?,
    })
}

/// `value` rounded half up to `places` places. The slack lifts a tie that binary arithmetic has put a hair too low.
pub(super) fn rounded(value: Expression, places: u32) -> Expression {
    let power = || Expression::float(numeral::power_of_ten(places));
    let lifted = lifted(value, places);
    Expression::Divide(Box::new(Expression::Round(Box::new(lifted))), Box::new(power()))
}

/// `value` without the digits after the first `places` places, as an integer of units of the last of these.
fn cut(value: Expression, places: u32) -> Expression {
    Expression::Truncate(Box::new(lifted(value, places)))
}

/// `value` with the point moved `places` places, lifted by the slack.
fn lifted(value: Expression, places: u32) -> Expression {
    let power = Expression::float(numeral::power_of_ten(places));
    let shifted = Expression::Product(vec![value, power]);
    Expression::Sum(vec![shifted, Expression::float(numeral::slack(PLACES))])
}

struct Translation<'i> {
    item: &'i Item,
    step: &'i Step,
    known: Known<'i>,
    /// What must hold for the value to mean anything.
    guards: Vec<Expression>,
    /// Rules that set auxiliary outcomes, in order.
    rules: Vec<Rule>,
    outcomes: Vec<OutcomeDeclaration>,
}

impl Translation<'_> {
    fn number(&mut self, formula: &Formula) -> Result<Expression, Reason> {
        if let Some(constant) = self.constant(formula) {
            return Ok(Expression::float(constant));
        }
        match formula {
            Formula::Literal(value) => Ok(Expression::float(*value)),
            Formula::Name(name) => match self.given(name) {
                Some(given) => Ok(Expression::variable(given)),
                None => self.earlier_value(name),
            },
            Formula::Binary(operation, left, right) => {
                let (first, second) = (self.number(left)?, self.number(right)?);
                let (of_left, of_right): (&[u32], &[u32]) = match operation {
                    Operation::Add => (&[0], &[0]),
                    Operation::Subtract => (&[], &[0]),
                    Operation::Multiply => (&[0, 1], &[0, 1]),
                    Operation::Divide => (&[0], &[1]),
                };
                self.guard_against_trivial(left, &first, of_left)?;
                self.guard_against_trivial(right, &second, of_right)?;
                Ok(self.operation(*operation, first, second))
            }
            Formula::Call(function, arguments) => self.call(*function, arguments),
            Formula::Comparison(..) | Formula::Order(..) => Err(Reason::NestedComparison),
        }
    }

    /// A given that the platform draws.
    fn given(&self, name: &str) -> Option<&Identifier> {
        match self.known {
            Known::Variables(variables) if self.item.steps.iter().all(|step| step.id != name) => {
                variables.get(name)
            }
            Known::Variables(_) | Known::Numbers => None,
        }
    }

    /// An operand that is 0 or 1 by the own values, and by the right ones is not, leaves nothing to work.
    fn guard_against_trivial(
        &mut self,
        formula: &Formula,
        operand: &Expression,
        trivial: &[u32],
    ) -> Result<(), Reason> {
        if !depends_on_steps(self.item, formula) {
            return Ok(());
        }
        for number in trivial.iter().map(|number| Decimal::from(*number)) {
            let is = |operand: Expression| {
                Expression::equal(Expression::float(number), operand, numeral::exact(PLACES))
            };
            let rightly = match self.known {
                Known::Variables(variables) => Some(is(rightly(formula, variables)?)),
                Known::Numbers => {
                    let right = arithmetic::prove(formula, &self.right_names()).ok();
                    (right == Some(arithmetic::Value::Number(number)))
                        .then_some(Expression::BaseValue(Value::Boolean(true)))
                }
            };
            let not = Expression::Not(Box::new(is(operand.clone())));
            match rightly {
                None => self.guards.push(not),
                Some(Expression::BaseValue(_)) => {}
                Some(rightly) => self.guards.push(Expression::Or(vec![not, rightly])),
            }
        }
        Ok(())
    }

    /// An own value that is [`ABSURD_FACTOR`] times the right one or more, or that part of it or less.
    fn guard_against_absurd(&mut self, formula: &Formula) -> Result<(), Reason> {
        let right = self.right_names();
        for name in formula.names() {
            let Some(step) = self.item.steps.iter().find(|step| step.id == name) else { continue };
            let own = Expression::variable(&StepNames::of(step)?.value);
            let raised = |value: Expression| {
                Box::new(Expression::Sum(vec![value, Expression::float(numeral::slack(PLACES))]))
            };
            let moved = |number: Decimal, shift: i32| {
                number.shifted(shift).map(Expression::float).ok_or(Reason::TooLong)
            };
            let (least, most) = match self.known {
                Known::Numbers => {
                    let Some(key) = right.get(name).filter(|key| **key > Decimal::ZERO) else { continue };
                    (moved(*key, -ABSURD_SHIFT)?, moved(*key, ABSURD_SHIFT)?)
                }
                // A right value of zero would let nothing through; templates draw none.
                Known::Variables(variables) => {
                    let key = variables.get(name).ok_or(Reason::NoNumber { step: name.to_owned() })?;
                    let times = |shift: i32| {
                        let factor = moved(Decimal::from(1), shift)?;
                        Ok::<_, Reason>(Expression::Product(vec![Expression::variable(key), factor]))
                    };
                    (times(-ABSURD_SHIFT)?, times(ABSURD_SHIFT)?)
                }
            };
            self.guards.push(Expression::Lt(raised(least), Box::new(own.clone())));
            self.guards.push(Expression::Lt(raised(own), Box::new(most)));
        }
        Ok(())
    }

    /// Givens and the right values of all steps.
    fn right_names(&self) -> Names {
        let mut names = self.item.given_names();
        let steps = self.item.steps_proven();
        names.extend(steps.filter_map(|(step, proven)| Some((step.id.clone(), proven.value?))));
        names
    }

    /// The exact value of a part that no earlier step has a share in.
    fn constant(&self, formula: &Formula) -> Option<Decimal> {
        let drawn = matches!(self.known, Known::Variables(_)) && !formula.names().is_empty();
        if drawn || depends_on_steps(self.item, formula) {
            return None;
        }
        let givens: Names = self.item.given_names();
        match arithmetic::prove(formula, &givens) {
            Ok(arithmetic::Value::Number(number)) => Some(number),
            Ok(arithmetic::Value::Relation(_) | arithmetic::Value::Order(_)) | Err(_) => None,
        }
    }

    fn earlier_value(&self, name: &str) -> Result<Expression, Reason> {
        let step = self.item.steps.iter().find(|step| step.id == name);
        let step =
            step.expect("names of a proven item are givens or earlier steps, and givens are constants");
        match step.kind {
            StepKind::Number if step.accept.form.unit => {
                Err(Reason::UnitInResponse { step: name.to_owned() })
            }
            StepKind::Number | StepKind::Choice => Ok(Expression::variable(&StepNames::of(step)?.value)),
            StepKind::Words => Err(Reason::InWords { step: name.to_owned() }),
            StepKind::Order => Err(Reason::NoNumber { step: name.to_owned() }),
        }
    }

    fn operation(&mut self, operation: Operation, left: Expression, right: Expression) -> Expression {
        match operation {
            Operation::Add => Expression::Sum(vec![left, right]),
            Operation::Multiply => Expression::Product(vec![left, right]),
            Operation::Divide => Expression::Divide(Box::new(left), Box::new(right)),
            Operation::Subtract => {
                let widened = Expression::Sum(vec![left.clone(), Expression::float(numeral::slack(PLACES))]);
                self.guards.push(Expression::Gte(Box::new(widened), Box::new(right.clone())));
                Expression::Subtract(Box::new(left), Box::new(right))
            }
        }
    }

    fn call(&mut self, function: Function, arguments: &[Formula]) -> Result<Expression, Reason> {
        match function {
            Function::Round => {
                let places = arguments[1].places_literal().expect("the parser admits only literal places");
                Ok(rounded(self.number(&arguments[0])?, places))
            }
            Function::Max => Ok(Expression::Max(self.numbers(arguments)?)),
            Function::Min => Ok(Expression::Min(self.numbers(arguments)?)),
            Function::SmallestAtLeast => self.smallest_at_least(&arguments[0], &arguments[1..]),
            Function::Whole => {
                let whole = Box::new(cut(self.number(&arguments[0])?, 0));
                Ok(Expression::IntegerToFloat(whole))
            }
            Function::Digit => {
                let place = arguments[1].places_literal().expect("the parser admits only literal places");
                if place > PLACES {
                    return Err(Reason::DigitTooFar { place, most: PLACES });
                }
                let shifted = Box::new(cut(self.number(&arguments[0])?, place));
                let ten = Box::new(Expression::BaseValue(Value::Integer(10)));
                let digit = Box::new(Expression::IntegerModulus(shifted, ten));
                Ok(Expression::IntegerToFloat(digit))
            }
        }
    }

    fn numbers(&mut self, formulas: &[Formula]) -> Result<Vec<Expression>, Reason> {
        formulas.iter().map(|formula| self.number(formula)).collect()
    }

    /// The limits are tried from the smallest up; the first that is large enough is kept in a variable of its own.
    fn smallest_at_least(&mut self, amount: &Formula, limits: &[Formula]) -> Result<Expression, Reason> {
        let limits: Option<Vec<Decimal>> = limits.iter().map(|limit| self.constant(limit)).collect();
        let mut limits = limits.ok_or(Reason::LimitFromStep)?;
        limits.sort();
        let amount = self.number(amount)?;
        let kept = self.auxiliary()?;
        let branches = limits.into_iter().map(|limit| {
            let lowered = Expression::Subtract(
                Box::new(amount.clone()),
                Box::new(Expression::float(numeral::slack(PLACES))),
            );
            Branch {
                test: Expression::Lte(Box::new(lowered), Box::new(Expression::float(limit))),
                rules: vec![Rule::set_float(&kept, limit)],
            }
        });
        let rule = Rule::Condition {
            branches: branches.collect(),
            otherwise: vec![Rule::SetOutcomeValue(kept.clone(), Expression::Null)],
        };
        self.rules.push(rule);
        Ok(Expression::variable(&kept))
    }

    fn auxiliary(&mut self) -> Result<Identifier, Reason> {
        let identifier = Identifier::new(&format!("KEPT{}_{}", self.outcomes.len() + 1, self.step.id))?;
        self.outcomes.push(OutcomeDeclaration::unset(identifier.clone(), BaseType::Float));
        Ok(identifier)
    }
}

/// A part of an expression by the right values, where the platform draws them.
fn rightly(formula: &Formula, variables: &BTreeMap<String, Identifier>) -> Result<Expression, Reason> {
    match formula {
        Formula::Literal(value) => Ok(Expression::float(*value)),
        Formula::Name(name) => {
            let variable = variables.get(name.as_str()).ok_or(Reason::NoNumber { step: name.to_string() })?;
            Ok(Expression::variable(variable))
        }
        Formula::Binary(operation, left, right) => {
            let (left, right) = (rightly(left, variables)?, rightly(right, variables)?);
            Ok(match operation {
                Operation::Add => Expression::Sum(vec![left, right]),
                Operation::Subtract => Expression::Subtract(Box::new(left), Box::new(right)),
                Operation::Multiply => Expression::Product(vec![left, right]),
                Operation::Divide => Expression::Divide(Box::new(left), Box::new(right)),
            })
        }
        Formula::Call(..) | Formula::Comparison(..) | Formula::Order(..) => Err(Reason::NestedComparison),
    }
}
