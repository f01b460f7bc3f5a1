//! Whether the names in an item stand for something: variables in rules and expressions, responses of interactions,
//! what feedback waits for.
use std::collections::BTreeSet;

use super::{
    body::InteractionKind,
    declarations::{Declaration, Role},
    document::told,
    expressions::{Expression, Operator},
    fault::{Fault, Problem},
    reading::{Item, is_built_in},
    rules::{Action, Rule, Target},
    value::{BaseType, Scalar, Value},
};

/// All names that stand for nothing, in the order of the document.
#[must_use]
pub fn broken(item: &Item) -> Vec<Fault> {
    let mut check = Check { item, faults: Vec::new() };
    check.interactions();
    check.shown();
    let rules = item.template.iter().chain(item.response_rules());
    rules.flat_map(Rule::all).for_each(|rule| check.rule(rule));
    check.faults.sort_by_key(|fault| fault.line);
    check.faults.dedup();
    check.faults
}

struct Check<'i> {
    item: &'i Item,
    faults: Vec<Fault>,
}

type Kind = fn(&Role) -> bool;
const RESPONSE: Kind = |role| matches!(role, Role::Response { .. });
const OUTCOME: Kind = |role| matches!(role, Role::Outcome { .. });
const TEMPLATE: Kind = |role| matches!(role, Role::Template);

impl Check<'_> {
    fn expect(&mut self, line: u64, what: &'static str, name: &str, kind: Kind) {
        let known = self.item.declaration(name).is_some_and(|declaration| kind(&declaration.role));
        let built_in = what == "variable" && is_built_in(name);
        if !(known || built_in) {
            self.unknown(line, what, name);
        }
    }

    fn unknown(&mut self, line: u64, what: &'static str, name: &str) {
        self.faults.push(Fault { line, problem: Problem::Unknown { what, name: told(name) } });
    }

    fn interactions(&mut self) {
        let mut bound: BTreeSet<&str> = BTreeSet::new();
        for interaction in &self.item.body.interactions {
            let (line, response) = (interaction.line, interaction.response.as_str());
            self.expect(line, "response variable", response, RESPONSE);
            if !bound.insert(response) {
                let problem =
                    Problem::Twice { what: "response variable of an interaction", name: told(response) };
                self.faults.push(Fault { line, problem });
            }
            match &interaction.kind {
                InteractionKind::TextEntry { string: Some(string), .. } => {
                    self.expect(line, "response variable", string, RESPONSE);
                }
                InteractionKind::Choice(choosing)
                | InteractionKind::InlineChoice(choosing)
                | InteractionKind::Order(choosing) => self.correct_choices(response, &choosing.choices),
                _ => {}
            }
        }
    }

    /// What is declared correct must be among the choices.
    fn correct_choices(&mut self, response: &str, choices: &[String]) {
        let Some(Declaration { role: Role::Response { correct, .. }, line, .. }) =
            self.item.declaration(response)
        else {
            return;
        };
        for scalar in correct.scalars() {
            if let Scalar::Identifier(name) = scalar
                && !choices.iter().any(|choice| choice == name)
            {
                self.unknown(*line, "choice", name);
            }
        }
    }

    fn shown(&mut self) {
        let body = &self.item.body;
        for printed in &body.printed {
            let kind: Kind = |role| !matches!(role, Role::Response { .. });
            self.expect(printed.line, "variable", &printed.identifier, kind);
        }
        let settable = self.identifiers_set();
        for feedback in &body.feedback {
            let kind = if feedback.kind.starts_with("template-") { TEMPLATE } else { OUTCOME };
            let what =
                if feedback.kind.starts_with("template-") { "template variable" } else { "outcome variable" };
            self.expect(feedback.line, what, &feedback.variable, kind);
            if let Some(settable) = &settable
                && !settable.contains(feedback.identifier.as_str())
            {
                self.unknown(feedback.line, "rule that sets the feedback", &feedback.identifier);
            }
        }
    }

    /// All identifiers that any rule or default can give; `None` where they can come from elsewhere.
    fn identifiers_set(&self) -> Option<BTreeSet<String>> {
        let mut names = BTreeSet::new();
        let mut keep = |value: &Value| {
            names.extend(
                value
                    .scalars()
                    .iter()
                    .filter(|one| one.base_type() == BaseType::Identifier)
                    .map(Scalar::to_string),
            );
        };
        for declaration in &self.item.declarations {
            keep(&declaration.default);
            match &declaration.role {
                Role::Outcome { table: Some(table), .. } => {
                    table.rows.iter().for_each(|(_, _, value)| keep(value));
                    keep(&table.default);
                }
                Role::Response { .. } if declaration.base_type == Some(BaseType::Identifier) => {
                    let read = |expression: &Expression| {
                        expression.operator == Operator::Variable(declaration.identifier.clone())
                    };
                    let set = |rule: &Rule| matches!(&rule.action, Action::Set { value, .. } if value.all().into_iter().any(read));
                    if self.item.response_rules().iter().flat_map(Rule::all).any(set) {
                        return None;
                    }
                }
                _ => {}
            }
        }
        for rule in self.item.template.iter().chain(self.item.response_rules()).flat_map(Rule::all) {
            for expression in rule.expressions().into_iter().flat_map(Expression::all) {
                match &expression.operator {
                    Operator::BaseValue(value) => keep(value),
                    Operator::Custom(_) => return None,
                    _ => {}
                }
            }
        }
        Some(names)
    }

    fn rule(&mut self, rule: &Rule) {
        let line = rule.line;
        match &rule.action {
            Action::Set { what, identifier, .. } => match what {
                Target::Outcome => self.settable_outcome(line, identifier),
                Target::Template => self.expect(line, "template variable", identifier, TEMPLATE),
                Target::Correct => self.expect(line, "response variable", identifier, RESPONSE),
                Target::Default => {
                    self.expect(line, "response or outcome variable", identifier, |role| {
                        matches!(role, Role::Response { .. } | Role::Outcome { .. })
                    });
                }
            },
            Action::LookUp { identifier, .. } => {
                self.expect(line, "outcome variable with a table", identifier, |role| {
                    matches!(role, Role::Outcome { table: Some(_), .. })
                });
            }
            _ => {}
        }
        for expression in rule.expressions().into_iter().flat_map(Expression::all) {
            for name in expression.operator.variables() {
                self.expect(expression.line, "variable", name, |_| true);
            }
        }
    }

    fn settable_outcome(&mut self, line: u64, identifier: &str) {
        if identifier != "completionStatus" {
            self.expect(line, "outcome variable", identifier, OUTCOME);
        }
    }
}
