//! Template processing under construction: variables, rules that set them, and the means to try them out.
//!
//! [`Program`] collects rules in the order in which a platform runs them. [`Program::run`] runs them here, with
//! draws of our own: that is how the defaults are found, and how often a draw satisfies all constraints is measured
//! before a template is written. Numbers that engines hold as floats are held exactly.
use std::collections::HashMap;

use qbank::{decimal::Decimal, draw::Draws};

use super::integer::{Int, MOST, Test};
use crate::qti::{
    model::{BaseType, Cardinality, Identifier, TemplateDeclaration},
    processing::{Branch, Expression, TemplateRule, Tolerance, Value},
};

/// Places with which floats are held here; far more than any number of ours has.
pub(super) const HELD_PLACES: u32 = 12;

/// Template processing.
#[derive(Debug, Default)]
pub(super) struct Program {
    declared: Vec<(Identifier, Cardinality, BaseType)>,
    pub(super) rules: Vec<TemplateRule>,
    /// Whether some value could outgrow the standard's integers.
    pub(super) too_large: bool,
    kept: usize,
    /// The only values that a variable can have, where they are few.
    only: HashMap<Identifier, Vec<i64>>,
}

/// What a variable holds after a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Held {
    Null,
    Integer(i64),
    /// In units of 10 to the minus [`HELD_PLACES`].
    Float(i128),
    Boolean(bool),
    Identifier(Identifier),
    Text(String),
    List(Vec<Held>),
}

/// All variables after a run.
pub(super) type Variables = HashMap<Identifier, Held>;

impl Program {
    /// A new variable.
    pub(super) fn declare(&mut self, identifier: &Identifier, cardinality: Cardinality, base_type: BaseType) {
        self.declared.push((identifier.clone(), cardinality, base_type));
    }

    /// Whether there is such a variable.
    pub(super) fn declares(&self, identifier: &Identifier) -> bool {
        self.declared.iter().any(|(known, ..)| known == identifier)
    }

    /// Keeps a value under a name.
    pub(super) fn set(&mut self, identifier: &Identifier, base_type: BaseType, value: Expression) {
        self.declare(identifier, Cardinality::Single, base_type);
        self.rules.push(TemplateRule::SetTemplateValue(identifier.clone(), value));
    }

    /// Notes that values of this size occur.
    pub(super) fn reaches(&mut self, peak: i64) {
        self.too_large |= peak > MOST;
    }

    /// Notes the only values that a variable can have.
    pub(super) fn can_only_be(&mut self, variable: &Identifier, values: Vec<i64>) {
        self.only.insert(variable.clone(), values);
    }

    /// What one variable can only be, another can only be as well.
    pub(super) fn same_values(&mut self, of: &Identifier, variable: &Identifier) {
        if let Some(values) = self.only.get(of).cloned() {
            self.only.insert(variable.clone(), values);
        }
    }

    /// The values that an integer can have, from one up.
    pub(super) fn possible(&self, int: &Int) -> Vec<i64> {
        let listed = match &int.expression {
            Expression::Variable(variable) => self.only.get(variable).cloned(),
            _ => None,
        };
        listed.unwrap_or_else(|| (int.low.max(1)..=int.high).collect())
    }

    /// An integer as a variable of its own, if it is not one already or certain.
    pub(super) fn keep(&mut self, int: &Int) -> Int {
        self.reaches(int.peak);
        if matches!(int.expression, Expression::Variable(_)) || int.certain().is_some() {
            return int.clone();
        }
        let name = self.fresh();
        self.set(&name, BaseType::Integer, int.expression.clone());
        Int { expression: Expression::Variable(name), peak: int.low.abs().max(int.high.abs()), ..*int }
    }

    /// The value of the first case whose test is true; null where there is none.
    pub(super) fn choose(&mut self, cases: &[(Test, Int)]) -> Int {
        let mut open: Vec<(Test, Int)> = Vec::new();
        for (test, value) in cases {
            match test {
                Test::Certain(false) => {}
                Test::Certain(true) if open.is_empty() => return value.clone(),
                _ => open.push((test.clone(), value.clone())),
            }
            if matches!(test, Test::Certain(true)) {
                break;
            }
        }
        let low = open.iter().map(|(_, value)| value.low).min().unwrap_or(0);
        let high = open.iter().map(|(_, value)| value.high).max().unwrap_or(0);
        open.iter().for_each(|(test, value)| self.reaches(test.peak().max(value.peak)));
        let name = self.fresh();
        let cases = open.into_iter().map(|(test, value)| (test, value.expression)).collect();
        self.choose_into(&name, BaseType::Integer, cases);
        Int { expression: Expression::Variable(name), low, high, peak: low.abs().max(high.abs()) }
    }

    /// Either of two values.
    pub(super) fn either(&mut self, test: &Test, then: &Int, otherwise: &Int) -> Int {
        self.choose(&[(test.clone(), then.clone()), (Test::TRUE, otherwise.clone())])
    }

    /// 1 where the test is true, otherwise 0.
    pub(super) fn indicator(&mut self, test: &Test) -> Int {
        self.either(test, &1.into(), &0.into())
    }

    /// Sets a new variable to the value of the first case whose test is true; null where there is none.
    pub(super) fn choose_into(
        &mut self,
        identifier: &Identifier,
        base_type: BaseType,
        cases: Vec<(Test, Expression)>,
    ) {
        self.declare(identifier, Cardinality::Single, base_type);
        let set = |value: Expression| vec![TemplateRule::SetTemplateValue(identifier.clone(), value)];
        let mut branches = Vec::new();
        let mut otherwise = set(Expression::Null);
        for (test, value) in cases {
            self.reaches(test.peak());
            match test {
                Test::Certain(false) => {}
                Test::Certain(true) => {
                    otherwise = set(value);
                    break;
                }
                Test::Open { expression, .. } => {
                    branches.push(Branch { test: expression, rules: set(value) });
                }
            }
        }
        match branches.is_empty() {
            true => self.rules.extend(otherwise),
            false => self.rules.push(TemplateRule::Condition { branches, otherwise }),
        }
    }

    /// Demands that a test is true. Gives whether it can be at all.
    pub(super) fn demand(&mut self, test: &Test) -> bool {
        self.reaches(test.peak());
        match test {
            Test::Certain(truth) => *truth,
            Test::Open { expression, .. } => {
                self.rules.push(TemplateRule::Constraint(expression.clone()));
                true
            }
        }
    }

    fn fresh(&mut self) -> Identifier {
        self.kept += 1;
        Identifier::new(&format!("T{}", self.kept)).expect("a letter and a number")
    }

    /// The declarations, with what a run found as defaults.
    pub(super) fn declarations(&self, defaults: &Variables) -> Vec<TemplateDeclaration> {
        let declaration = |(identifier, cardinality, base_type): &(Identifier, Cardinality, BaseType)| {
            let default = defaults.get(identifier).map_or_else(Vec::new, literals);
            TemplateDeclaration {
                identifier: identifier.clone(),
                cardinality: *cardinality,
                base_type: *base_type,
                default,
            }
        };
        self.declared.iter().map(declaration).collect()
    }

    /// Runs all rules once; `None` if the draw fails a constraint.
    pub(super) fn run(&self, draws: &mut Draws) -> Option<Variables> {
        let mut run = Run { variables: HashMap::new(), draws };
        self.rules.iter().all(|rule| run.rule(rule)).then_some(run.variables)
    }
}

fn literals(held: &Held) -> Vec<Value> {
    match held {
        Held::Null => Vec::new(),
        Held::Integer(number) => {
            u32::try_from(*number).map_or_else(|_| Vec::new(), |number| vec![Value::Integer(number)])
        }
        Held::Float(units) => {
            let number = Decimal::new(*units, HELD_PLACES).map(|number| number.normalized());
            number.map_or_else(|_| Vec::new(), |number| vec![Value::Float(number)])
        }
        Held::Boolean(truth) => vec![Value::Boolean(*truth)],
        Held::Identifier(identifier) => vec![Value::Identifier(identifier.clone())],
        Held::Text(text) => vec![Value::Text(text.clone())],
        Held::List(parts) => parts.iter().flat_map(literals).collect(),
    }
}

/// One run of the rules.
struct Run<'d> {
    variables: Variables,
    draws: &'d mut Draws,
}

impl Run<'_> {
    /// Whether the run may go on.
    fn rule(&mut self, rule: &TemplateRule) -> bool {
        match rule {
            TemplateRule::SetTemplateValue(variable, value) => {
                let value = self.value(value);
                self.variables.insert(variable.clone(), value);
                true
            }
            TemplateRule::SetCorrectResponse(..) => true,
            TemplateRule::Condition { branches, otherwise } => {
                let chosen = branches.iter().find(|branch| self.value(&branch.test) == Held::Boolean(true));
                let rules = chosen.map_or(otherwise, |branch| &branch.rules);
                rules.iter().all(|rule| self.rule(rule))
            }
            TemplateRule::Constraint(test) => self.value(test) == Held::Boolean(true),
        }
    }

    fn value(&mut self, expression: &Expression) -> Held {
        use Expression as E;
        match expression {
            E::Variable(name) => self.variables.get(name).cloned().unwrap_or(Held::Null),
            E::BaseValue(value) => held(value),
            E::Null => Held::Null,
            E::IsNull(inner) => Held::Boolean(self.value(inner) == Held::Null),
            E::Not(inner) => match self.value(inner) {
                Held::Boolean(truth) => Held::Boolean(!truth),
                _ => Held::Null,
            },
            E::And(parts) => self.decided(parts, false),
            E::Or(parts) => self.decided(parts, true),
            E::Match(first, second) => match (self.value(first), self.value(second)) {
                (Held::Null, _) | (_, Held::Null) => Held::Null,
                (first, second) => Held::Boolean(first == second),
            },
            E::Multiple(parts) | E::Ordered(parts) => Held::List(
                parts.iter().map(|part| self.value(part)).filter(|one| *one != Held::Null).collect(),
            ),
            E::Random(inner) => match self.value(inner) {
                Held::List(parts) => self.draws.one_of(&parts).cloned().unwrap_or(Held::Null),
                _ => Held::Null,
            },
            E::RandomInteger { min, max, step } => {
                let steps = u64::from((max - min) / step) + 1;
                let drawn = i64::try_from(self.draws.below(steps)).unwrap_or(0);
                Held::Integer(i64::from(*min) + drawn * i64::from(*step))
            }
            E::Equal { key, response, tolerance: Tolerance(tolerance) } => {
                let width = tolerance.units_at(HELD_PLACES).unwrap_or(0);
                self.floats(key, response, |key, response| Held::Boolean((key - response).abs() <= width))
            }
            E::Divide(first, second) => self.floats(first, second, |first, second| {
                if second == 0 { Held::Null } else { Held::Float(first * 10_i128.pow(HELD_PLACES) / second) }
            }),
            E::Sum(parts) => self.folded(parts, |sum, part| sum + part),
            E::Product(parts) => self.folded(parts, i128::saturating_mul),
            E::Subtract(first, second) => self.integers(first, second, |a, b| Held::Integer(a - b)),
            E::IntegerDivide(first, second) => {
                self.integers(
                    first,
                    second,
                    |a, b| {
                        if b == 0 { Held::Null } else { Held::Integer(a.div_euclid(b)) }
                    },
                )
            }
            E::IntegerModulus(first, second) => {
                self.integers(
                    first,
                    second,
                    |a, b| {
                        if b == 0 { Held::Null } else { Held::Integer(a.rem_euclid(b)) }
                    },
                )
            }
            E::Lt(first, second) => self.integers(first, second, |a, b| Held::Boolean(a < b)),
            E::Lte(first, second) => self.integers(first, second, |a, b| Held::Boolean(a <= b)),
            E::Gt(first, second) => self.integers(first, second, |a, b| Held::Boolean(a > b)),
            E::Gte(first, second) => self.integers(first, second, |a, b| Held::Boolean(a >= b)),
            E::PatternMatch { .. }
            | E::Round(_)
            | E::Truncate(_)
            | E::IntegerToFloat(_)
            | E::Min(_)
            | E::Max(_) => unreachable!("template processing of ours has no such expression"),
        }
    }

    fn decided(&mut self, parts: &[Expression], deciding: bool) -> Held {
        let mut open = false;
        for part in parts {
            match self.value(part) {
                Held::Boolean(truth) if truth == deciding => return Held::Boolean(deciding),
                Held::Boolean(_) => {}
                _ => open = true,
            }
        }
        if open { Held::Null } else { Held::Boolean(!deciding) }
    }

    fn integers(
        &mut self,
        first: &Expression,
        second: &Expression,
        meet: impl FnOnce(i64, i64) -> Held,
    ) -> Held {
        match (self.value(first), self.value(second)) {
            (Held::Integer(first), Held::Integer(second)) => meet(first, second),
            _ => Held::Null,
        }
    }

    fn floats(
        &mut self,
        first: &Expression,
        second: &Expression,
        meet: impl FnOnce(i128, i128) -> Held,
    ) -> Held {
        match (float(&self.value(first)), float(&self.value(second))) {
            (Some(first), Some(second)) => meet(first, second),
            _ => Held::Null,
        }
    }

    /// A sum or product: of integers an integer; a sum with a float in it a float.
    fn folded(&mut self, parts: &[Expression], meet: impl Fn(i128, i128) -> i128) -> Held {
        let values: Vec<Held> = parts.iter().map(|part| self.value(part)).collect();
        let integers: Option<Vec<i128>> = values
            .iter()
            .map(|value| if let Held::Integer(number) = value { Some((*number).into()) } else { None })
            .collect();
        if let Some(integers) = integers {
            let whole = integers.into_iter().reduce(&meet).and_then(|whole| i64::try_from(whole).ok());
            return whole.map_or(Held::Null, Held::Integer);
        }
        let floats: Option<Vec<i128>> = values.iter().map(float).collect();
        floats.and_then(|floats| floats.into_iter().reduce(meet)).map_or(Held::Null, Held::Float)
    }
}

fn float(held: &Held) -> Option<i128> {
    match held {
        Held::Integer(number) => Some(i128::from(*number) * 10_i128.pow(HELD_PLACES)),
        Held::Float(units) => Some(*units),
        _ => None,
    }
}

fn held(value: &Value) -> Held {
    match value {
        Value::Float(number) => number.units_at(HELD_PLACES).map_or(Held::Null, Held::Float),
        Value::Integer(number) => Held::Integer((*number).into()),
        Value::Boolean(truth) => Held::Boolean(*truth),
        Value::Identifier(identifier) => Held::Identifier(identifier.clone()),
        Value::Text(text) => Held::Text(text.clone()),
    }
}
