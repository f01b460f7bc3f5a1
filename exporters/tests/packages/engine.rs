//! A small engine that runs an item's response processing as the standard says: binary floats, null in gives null
//! out, a text that is no number leaves the float null, an order is a list of all identifiers. It knows the expressions
//! our items use and nothing of what they mean.
use std::{cell::Cell, collections::BTreeMap};

use exporters::qti::{
    model::{AssessmentItem, BaseType, Block, Cardinality, Inline},
    processing::{Branch, Expression, Rule, TemplateRule, Tolerance, Value},
};
use qbank::decimal::Decimal;
use regex_lite::Regex;

/// What a variable holds.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Held {
    Null,
    Float(f64),
    Boolean(bool),
    Text(String),
    List(Vec<Held>),
}

/// All variables of an item session, and where chance comes from.
#[derive(Clone)]
pub(crate) struct Session(BTreeMap<String, Held>, Cell<u64>);

/// How often a constraint may fail before the defaults stand.
const RUNS: u32 = 100;

impl Session {
    /// Answers an item's steps and runs its rules. `attempt` counts from 1.
    pub(crate) fn run(item: &AssessmentItem, responses: &BTreeMap<String, String>, attempt: u32) -> Self {
        Self(BTreeMap::new(), Cell::new(0)).answered(item, responses, attempt)
    }

    /// Runs template processing. With `luckless`, no draw ever satisfies a constraint.
    pub(crate) fn drawn(item: &AssessmentItem, seed: u64, luckless: bool) -> Self {
        let mut session = Self(BTreeMap::new(), Cell::new(seed));
        let (mut runs, mut at) = (1, 0);
        session.take_defaults(item);
        while let Some(rule) = item.template_processing.get(at) {
            at += 1;
            if let TemplateRule::Constraint(test) = rule {
                if !luckless && session.value(test) == Held::Boolean(true) {
                    continue;
                }
                session.take_defaults(item);
                if runs < RUNS {
                    (runs, at) = (runs + 1, 0);
                }
            } else {
                session.template_rule(rule);
            }
        }
        session
    }

    fn take_defaults(&mut self, item: &AssessmentItem) {
        for declaration in &item.templates {
            let start = match (&declaration.default[..], declaration.cardinality) {
                ([], _) => Held::Null,
                ([value], Cardinality::Single) => held(value),
                (values, _) => Held::List(values.iter().map(held).collect()),
            };
            self.set(declaration.identifier.as_str(), start);
        }
    }

    fn template_rule(&mut self, rule: &TemplateRule) {
        match rule {
            TemplateRule::SetTemplateValue(variable, expression) => {
                let value = self.value(expression);
                assert!(self.0.contains_key(variable.as_str()), "{variable} is declared");
                self.set(variable.as_str(), value);
            }
            TemplateRule::SetCorrectResponse(response, expression) => {
                let value = self.value(expression);
                self.set(&format!("CORRECT {response}"), value);
            }
            TemplateRule::Condition { branches, otherwise } => {
                let chosen = branches.iter().find(|branch| self.value(&branch.test) == Held::Boolean(true));
                let rules = chosen.map_or(otherwise, |branch| &branch.rules).clone();
                rules.iter().for_each(|rule| self.template_rule(rule));
            }
            TemplateRule::Constraint(_) => panic!("a constraint inside a condition"),
        }
    }

    /// The session after one more attempt.
    pub(crate) fn answered(
        mut self,
        item: &AssessmentItem,
        responses: &BTreeMap<String, String>,
        attempt: u32,
    ) -> Self {
        let session = &mut self;
        session.set("numAttempts", Held::Float(f64::from(attempt)));
        for declaration in &item.outcomes {
            let start = match (&declaration.default, declaration.base_type) {
                (Some(value), _) => held(value),
                (None, BaseType::Float | BaseType::Integer) => Held::Float(0.0),
                (None, _) => Held::Null,
            };
            session.set(declaration.identifier.as_str(), start);
        }
        for declaration in &item.responses {
            session.set(declaration.identifier.as_str(), Held::Null);
        }
        item.body.iter().for_each(|block| session.answer(block, responses));
        session.rules(&item.processing);
        self
    }

    pub(crate) fn held(&self, name: &str) -> Option<&Held> {
        self.0.get(name)
    }

    fn below(&self, bound: u32) -> u32 {
        let state =
            self.1.get().wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        self.1.set(state);
        u32::try_from((state >> 33) % u64::from(bound)).unwrap()
    }

    pub(crate) fn float(&self, name: &str) -> Option<f64> {
        match self.0.get(name) {
            Some(Held::Float(number)) => Some(*number),
            _ => None,
        }
    }

    pub(crate) fn text(&self, name: &str) -> Option<&str> {
        match self.0.get(name) {
            Some(Held::Text(text)) => Some(text),
            _ => None,
        }
    }

    fn set(&mut self, name: &str, value: Held) {
        self.0.insert(name.to_owned(), value);
    }

    fn answer(&mut self, block: &Block, responses: &BTreeMap<String, String>) {
        let typed = |response: &str| {
            let step = response.strip_prefix("RESPONSE_").unwrap();
            responses.get(step).filter(|text| !text.is_empty())
        };
        match block {
            Block::Division { content, .. } => content.iter().for_each(|block| self.answer(block, responses)),
            Block::Choice(choice) => {
                if let Some(id) = typed(choice.response.as_str()) {
                    assert!(choice.choices.iter().any(|known| known.identifier.as_str() == id), "{id}");
                    self.set(choice.response.as_str(), Held::Text(id.clone()));
                }
            }
            Block::Order(order) => {
                if let Some(text) = typed(order.response.as_str()) {
                    let ids: Vec<String> = text.split(", ").map(str::to_owned).collect();
                    let mut sorted = ids.clone();
                    sorted.sort_unstable();
                    let all: Vec<&str> = order.choices.iter().map(|one| one.identifier.as_str()).collect();
                    assert_eq!(sorted, all, "an engine gives every choice once");
                    self.set(order.response.as_str(), Held::List(ids.into_iter().map(Held::Text).collect()));
                }
            }
            Block::Paragraph(content) => {
                for inline in content {
                    let Inline::TextEntry(entry) = inline else { continue };
                    if let Some(text) = typed(entry.response.as_str()) {
                        let Some(raw) = &entry.raw else {
                            self.set(entry.response.as_str(), Held::Text(text.clone()));
                            continue;
                        };
                        let number = text.trim().parse().map_or(Held::Null, Held::Float);
                        self.set(entry.response.as_str(), number);
                        self.set(raw.as_str(), Held::Text(text.clone()));
                    }
                }
            }
            Block::Preformatted(_) | Block::Rubric(_) => {}
        }
    }

    fn rules(&mut self, rules: &[Rule]) {
        for rule in rules {
            match rule {
                Rule::SetOutcomeValue(outcome, expression) => {
                    let value = self.value(expression);
                    assert!(self.0.contains_key(outcome.as_str()), "{outcome} is declared");
                    self.set(outcome.as_str(), value);
                }
                Rule::Condition { branches, otherwise } => {
                    let holds = |branch: &&Branch| self.value(&branch.test) == Held::Boolean(true);
                    let chosen =
                        branches.iter().find(holds).map_or(otherwise, |branch| &branch.rules).clone();
                    self.rules(&chosen);
                }
            }
        }
    }

    fn value(&self, expression: &Expression) -> Held {
        use Expression as E;
        match expression {
            E::Variable(name) => self.0.get(name.as_str()).expect("a declared variable").clone(),
            E::BaseValue(value) => held(value),
            E::Ordered(parts) | E::Multiple(parts) => {
                let mut all = Vec::new();
                for part in parts {
                    match self.value(part) {
                        Held::Null => {}
                        Held::List(more) => all.extend(more),
                        one => all.push(one),
                    }
                }
                if all.is_empty() { Held::Null } else { Held::List(all) }
            }
            E::Random(inner) => match self.value(inner) {
                Held::List(parts) => parts[self.below(u32::try_from(parts.len()).unwrap()) as usize].clone(),
                other => panic!("one of {other:?}"),
            },
            E::RandomInteger { min, max, step } => {
                Held::Float(f64::from(min + step * self.below((max - min) / step + 1)))
            }
            E::IntegerDivide(first, second) => self.pair(first, second, |first, second| {
                assert!(first.fract() == 0.0 && second.fract() == 0.0, "{first} and {second} are integers");
                assert!(first.abs() <= f64::from(i32::MAX), "{first} fits the engine's integers");
                if second == 0.0 { Held::Null } else { Held::Float((first / second).floor()) }
            }),
            E::Null => Held::Null,
            E::IsNull(inner) => Held::Boolean(self.value(inner) == Held::Null),
            E::Not(inner) => self.boolean(inner).map_or(Held::Null, |truth| Held::Boolean(!truth)),
            E::And(parts) => self.decided(parts, false),
            E::Or(parts) => self.decided(parts, true),
            E::Match(first, second) => match (self.value(first), self.value(second)) {
                (Held::Text(first), Held::Text(second)) => Held::Boolean(first == second),
                (Held::List(first), Held::List(second)) => Held::Boolean(first == second),
                (Held::Float(first), Held::Float(second)) => Held::Boolean(first == second),
                (Held::Null, _) | (_, Held::Null) => Held::Null,
                other => panic!("match of {other:?}"),
            },
            E::Equal { key, response, tolerance: Tolerance(tolerance) } => {
                let width = float(tolerance);
                self.pair(key, response, |key, response| {
                    Held::Boolean(response >= key - width && response <= key + width)
                })
            }
            E::PatternMatch { pattern, text } => match self.value(text) {
                Held::Text(text) => {
                    let regex = Regex::new(&format!("^(?:{pattern})$")).expect("a pattern that can be read");
                    Held::Boolean(regex.is_match(&text))
                }
                Held::Null => Held::Null,
                other => panic!("a pattern on {other:?}"),
            },
            E::Lt(first, second) => self.pair(first, second, |first, second| Held::Boolean(first < second)),
            E::Lte(first, second) => self.pair(first, second, |first, second| Held::Boolean(first <= second)),
            E::Gt(first, second) => self.pair(first, second, |first, second| Held::Boolean(first > second)),
            E::Gte(first, second) => self.pair(first, second, |first, second| Held::Boolean(first >= second)),
            E::Subtract(first, second) => {
                self.pair(first, second, |first, second| Held::Float(first - second))
            }
            E::Divide(first, second) => {
                self.pair(
                    first,
                    second,
                    |first, second| {
                        if second == 0.0 { Held::Null } else { Held::Float(first / second) }
                    },
                )
            }
            E::Round(inner) => {
                self.number(inner).map_or(Held::Null, |number| Held::Float((number + 0.5).floor()))
            }
            E::Truncate(inner) => self.number(inner).map_or(Held::Null, |number| Held::Float(number.trunc())),
            E::IntegerToFloat(inner) => self.value(inner),
            E::IntegerModulus(first, second) => self.pair(first, second, |first, second| {
                assert!(first.fract() == 0.0 && second.fract() == 0.0, "{first} and {second} are integers");
                assert!(first.abs() <= f64::from(i32::MAX), "{first} fits the engine's integers");
                if second == 0.0 { Held::Null } else { Held::Float(first.rem_euclid(second)) }
            }),
            E::Sum(parts) => self.fold(parts, |sum, part| sum + part),
            E::Product(parts) => self.fold(parts, |product, part| product * part),
            E::Min(parts) => self.fold(parts, f64::min),
            E::Max(parts) => self.fold(parts, f64::max),
        }
    }

    /// `and` and `or`: one part may decide whatever the others are.
    fn decided(&self, parts: &[Expression], deciding: bool) -> Held {
        let truths: Vec<Option<bool>> = parts.iter().map(|part| self.boolean(part)).collect();
        if truths.contains(&Some(deciding)) {
            Held::Boolean(deciding)
        } else if truths.contains(&None) {
            Held::Null
        } else {
            Held::Boolean(!deciding)
        }
    }

    fn boolean(&self, expression: &Expression) -> Option<bool> {
        match self.value(expression) {
            Held::Boolean(truth) => Some(truth),
            Held::Null => None,
            other => panic!("{other:?} where a truth value belongs"),
        }
    }

    fn number(&self, expression: &Expression) -> Option<f64> {
        match self.value(expression) {
            Held::Float(number) => Some(number),
            Held::Null => None,
            other => panic!("{other:?} where a number belongs"),
        }
    }

    fn pair(&self, first: &Expression, second: &Expression, meet: impl FnOnce(f64, f64) -> Held) -> Held {
        match (self.number(first), self.number(second)) {
            (Some(first), Some(second)) => meet(first, second),
            _ => Held::Null,
        }
    }

    fn fold(&self, parts: &[Expression], meet: impl Fn(f64, f64) -> f64) -> Held {
        let numbers: Option<Vec<f64>> = parts.iter().map(|part| self.number(part)).collect();
        numbers.and_then(|numbers| numbers.into_iter().reduce(meet)).map_or(Held::Null, Held::Float)
    }
}

fn held(value: &Value) -> Held {
    match value {
        Value::Float(number) => Held::Float(float(number)),
        Value::Integer(number) => Held::Float(f64::from(*number)),
        Value::Boolean(truth) => Held::Boolean(*truth),
        Value::Identifier(identifier) => Held::Text(identifier.to_string()),
        Value::Text(text) => Held::Text(text.clone()),
    }
}

fn float(decimal: &Decimal) -> f64 {
    decimal.to_string().parse().unwrap()
}
