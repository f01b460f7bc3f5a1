//! An item session: template processing once, then attempts, each with its responses and outcomes.
use std::collections::BTreeMap;

use super::{
    body::{Choosing, Interaction, InteractionKind},
    declarations::{Declaration, Role},
    expressions::{Expression, Operand, Scope},
    fault::{Failure, Reason},
    reading::Item,
    rules::{Action, Rule, Target},
    value::{BaseType, Cardinality, Scalar, Value, parse_float},
    variables::{Chance, Variables},
};

/// How often template processing may begin again, as authors may count on.
pub const RUNS: u32 = 100;

/// How a session begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Play<'k> {
    /// With the numbers that this key draws.
    Drawn(&'k str),
    /// With the declared defaults, as if no draw had ever satisfied a constraint: what a platform must do after
    /// [`RUNS`] runs.
    Defaults,
}

/// What a candidate gives to one interaction.
#[derive(Clone, Debug, PartialEq)]
pub enum Response {
    /// Typed.
    Text(String),
    /// The identifiers chosen, in the order given.
    Chosen(Vec<String>),
    /// A value as such, as a program gives it that shows the correct response. No text as typed comes with it.
    Value(Value),
}

/// An item being played.
pub struct Session<'i> {
    item: &'i Item,
    variables: Variables<'i>,
    chance: Chance,
    /// Whether no draw met the constraints.
    gave_up: bool,
    /// The line of the first constraint that the defaults do not meet either.
    broken_default: Option<u64>,
    attempts: i64,
}

/// What to do after a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Next {
    Rule,
    Exit,
    Restart,
}

impl<'i> Session<'i> {
    /// Begins a session: runs template processing.
    ///
    /// # Errors
    /// [`Failure`] of the rule that cannot be run.
    pub fn begin(item: &'i Item, play: Play<'_>) -> Result<Self, Failure> {
        let key = match play {
            Play::Drawn(key) => key,
            Play::Defaults => "defaults",
        };
        let mut session = Self {
            item,
            variables: Variables::new(&item.declarations),
            chance: Chance::keyed(key),
            gave_up: false,
            broken_default: None,
            attempts: 0,
        };
        session.process_template(play == Play::Defaults)?;
        Ok(session)
    }

    /// Whether a constraint was never met, so that defaults were used.
    #[must_use]
    pub fn gave_up(&self) -> bool {
        self.gave_up
    }

    /// Where defaults were used that do not meet a constraint either: its line.
    #[must_use]
    pub fn broken_default(&self) -> Option<u64> {
        self.broken_default
    }

    /// What a variable holds; NULL for one that there is not.
    #[must_use]
    pub fn value(&self, name: &str) -> &Value {
        self.variables.get(name).map_or(&Value::Null, |variable| &variable.value)
    }

    /// The correct response of a variable, as declared or as template processing has set it.
    #[must_use]
    pub fn correct(&self, name: &str) -> &Value {
        self.variables.get(name).map_or(&Value::Null, |variable| &variable.correct)
    }

    /// An attempt: the responses by response variable, each to its interaction, and response processing. Interactions
    /// without response are left blank.
    ///
    /// # Errors
    /// [`Failure`] of the response that cannot be given, or of the rule that cannot be run.
    pub fn attempt(&mut self, responses: &BTreeMap<String, Response>) -> Result<(), Failure> {
        self.attempts += 1;
        self.start_attempt();
        for interaction in &self.item.body.interactions {
            let given = responses.get(&interaction.response);
            let bound = self.bind(interaction, given);
            bound.map_err(|reason| reason.at(interaction.line))?;
        }
        let line = 1;
        let counted = self.variables.set("numAttempts", Value::integer(self.attempts));
        counted.map_err(|reason| reason.at(line))?;
        self.run(self.item.response_rules(), false).map(drop)
    }

    /// Responses start anew; outcomes, too, but in an adaptive item.
    fn start_attempt(&mut self) {
        let (adaptive, first) = (self.item.adaptive, self.attempts == 1);
        for variable in self.variables.all_mut() {
            match variable.declaration.role {
                Role::Response { .. } if first => variable.value = variable.default.clone(),
                Role::Response { .. } => variable.value = Value::Null,
                Role::Outcome { .. } if !adaptive || first => variable.value = variable.default.clone(),
                _ => {}
            }
        }
    }
}

/// Responses.
impl Session<'_> {
    fn bind(&mut self, interaction: &Interaction, given: Option<&Response>) -> Result<(), Reason> {
        let name = interaction.response.as_str();
        let strange = |given: &str| Reason::Response { response: name.to_owned(), given: given.to_owned() };
        match (&interaction.kind, given) {
            (InteractionKind::Other(kind), _) => {
                Err(Reason::Unsupported(format!("the interaction '{kind}'")))
            }
            (_, None) => Ok(()),
            (_, Some(Response::Value(value))) => self.variables.set(name, value.clone()),
            (InteractionKind::TextEntry { string, base, .. }, Some(Response::Text(text))) => {
                let declaration = &self.variables.get(name)?.declaration;
                let value = typed(declaration, text, *base);
                self.variables.set(name, value)?;
                match string {
                    Some(string) => self.variables.set(string, Value::single(Scalar::String(text.into()))),
                    None => Ok(()),
                }
            }
            (
                InteractionKind::Choice(choosing)
                | InteractionKind::InlineChoice(choosing)
                | InteractionKind::Order(choosing),
                Some(Response::Chosen(chosen)),
            ) => {
                check_chosen(choosing, chosen).map_err(strange)?;
                let cardinality = self.variables.get(name)?.declaration.cardinality;
                let chosen = chosen.iter().map(|one| Scalar::Identifier(one.into())).collect();
                self.variables.set(name, Value::of(cardinality, chosen))
            }
            (_, Some(Response::Text(text))) => Err(strange(text)),
            (_, Some(Response::Chosen(chosen))) => Err(strange(&chosen.join(", "))),
        }
    }
}

/// What stands against a choice: the first identifier that is not there or there twice, or one too many.
fn check_chosen<'c>(choosing: &Choosing, chosen: &'c [String]) -> Result<(), &'c str> {
    let strange = chosen.iter().enumerate().find(|(index, one)| {
        let most = choosing.most.is_some_and(|most| *index >= most);
        most || !choosing.choices.contains(one) || chosen[..*index].contains(one)
    });
    strange.map_or(Ok(()), |(_, one)| Err(one))
}

/// What a typed text is worth to a variable; a text that is no number is NULL where a number is wanted.
fn typed(declaration: &Declaration, text: &str, base: u32) -> Value {
    let trimmed = text.trim();
    match (declaration.cardinality, declaration.base_type) {
        (Cardinality::Record, _) => numeral_record(text),
        (_, Some(BaseType::Integer)) => {
            i64::from_str_radix(trimmed, base).map_or(Value::Null, Value::integer)
        }
        (_, Some(BaseType::Float)) => parse_float(trimmed).map_or(Value::Null, Value::float),
        (cardinality, Some(base_type)) => {
            let scalars = base_type.parse(text).filter(|scalar| !Value::single(scalar.clone()).is_null());
            Value::of(cardinality, scalars.into_iter().collect())
        }
        (_, None) => Value::Null,
    }
}

/// The fields that the standard gives a numeral.
fn numeral_record(text: &str) -> Value {
    let trimmed = text.trim();
    let mut fields = BTreeMap::new();
    let mut put = |name: &str, value: Value| {
        if let Value::Single(scalar) = value {
            fields.insert(name.to_owned(), scalar);
        }
    };
    put("stringValue", Value::single(Scalar::String(text.into())));
    if let Some(number) = parse_float(trimmed) {
        let unsigned = trimmed.trim_start_matches(['+', '-']);
        let (mantissa, exponent) = unsigned.split_once(['e', 'E']).unwrap_or((unsigned, ""));
        let (left, right) = mantissa.split_once('.').unwrap_or((mantissa, ""));
        let count = |digits: &str| Value::integer(i64::try_from(digits.len()).unwrap_or(i64::MAX));
        put("floatValue", Value::float(number));
        put("integerValue", trimmed.parse().map_or(Value::Null, Value::integer));
        put("leftDigits", count(left));
        put("rightDigits", count(right));
        put("ndp", count(right));
        put("nsf", count(format!("{left}{right}").trim_start_matches('0')));
        put("exponent", exponent.parse().map_or(Value::Null, Value::integer));
    }
    if fields.is_empty() { Value::Null } else { Value::Record(fields) }
}

/// Rules.
impl Session<'_> {
    /// Runs the template rules until all constraints are met, or [`RUNS`] times; after that, each constraint that is
    /// not met sets the defaults, and the next rule runs.
    fn process_template(&mut self, defaults: bool) -> Result<(), Failure> {
        let rules = &self.item.template;
        if !defaults {
            for _ in 0..RUNS {
                match self.run(rules, true)? {
                    Next::Restart => self.back_to_defaults(),
                    Next::Rule | Next::Exit => return Ok(()),
                }
            }
        }
        self.gave_up = rules.iter().any(|rule| matches!(rule.action, Action::Constraint(_)));
        for rule in rules {
            match &rule.action {
                Action::Constraint(expression) => {
                    if defaults || !self.holds(expression)? {
                        self.back_to_defaults();
                        if !self.holds(expression)? {
                            self.broken_default.get_or_insert(rule.line);
                        }
                    }
                }
                _ => {
                    if self.rule(rule, true)? == Next::Exit {
                        return Ok(());
                    }
                }
            }
        }
        Ok(())
    }

    fn back_to_defaults(&mut self) {
        for variable in self.variables.all_mut() {
            if matches!(variable.declaration.role, Role::Template) {
                variable.value = variable.declaration.default.clone();
            }
        }
    }

    fn run(&mut self, rules: &[Rule], template: bool) -> Result<Next, Failure> {
        for rule in rules {
            match self.rule(rule, template)? {
                Next::Rule => {}
                next => return Ok(next),
            }
        }
        Ok(Next::Rule)
    }

    fn rule(&mut self, rule: &Rule, template: bool) -> Result<Next, Failure> {
        let at = |reason: Reason| reason.at(rule.line);
        match &rule.action {
            Action::Set { what, identifier, value } => {
                let value = self.evaluate(value)?;
                self.set(*what, identifier, value).map_err(at)?;
            }
            Action::LookUp { identifier, value } => {
                let value = self.evaluate(value)?;
                self.look_up(identifier, &value).map_err(at)?;
            }
            Action::Condition { branches, otherwise } => {
                for (test, rules) in branches {
                    if self.holds(test)? {
                        return self.run(rules, template);
                    }
                }
                return self.run(otherwise, template);
            }
            Action::Fragment(rules) => return self.run(rules, template),
            Action::Constraint(expression) => {
                return Ok(if self.holds(expression)? { Next::Rule } else { Next::Restart });
            }
            Action::Exit => return Ok(Next::Exit),
            Action::Unsupported(what) => return Err(at(Reason::Unsupported(what.clone()))),
        }
        Ok(Next::Rule)
    }

    fn evaluate(&mut self, expression: &Expression) -> Result<Value, Failure> {
        let mut scope = Scope { variables: &self.variables, chance: &mut self.chance };
        expression.evaluate(&mut scope).map(Operand::into_value)
    }

    fn holds(&mut self, expression: &Expression) -> Result<bool, Failure> {
        expression.holds(&mut Scope { variables: &self.variables, chance: &mut self.chance })
    }

    fn set(&mut self, what: Target, identifier: &str, value: Value) -> Result<(), Reason> {
        match what {
            Target::Outcome | Target::Template => self.variables.set(identifier, value),
            Target::Default | Target::Correct => {
                let variable = self.variables.change(identifier)?;
                let value = variable.declaration.fitting(value)?;
                match what {
                    Target::Correct => variable.correct = value,
                    _ => {
                        if matches!(variable.declaration.role, Role::Outcome { .. }) {
                            variable.value = value.clone();
                        }
                        variable.default = value;
                    }
                }
                Ok(())
            }
        }
    }

    fn look_up(&mut self, identifier: &str, number: &Value) -> Result<(), Reason> {
        let variable = self.variables.get(identifier)?;
        let Role::Outcome { table: Some(table), .. } = &variable.declaration.role else {
            let expected = "an outcome variable with a table";
            return Err(Reason::Type {
                place: "lookup-outcome-value".into(),
                found: identifier.into(),
                expected,
            });
        };
        let found = number.as_float().map_or(table.default.clone(), |number| table.value_of(number).clone());
        self.variables.set(identifier, found)
    }
}
