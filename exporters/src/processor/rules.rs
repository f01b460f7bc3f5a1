//! Rules: of template processing, and of response processing.
use super::{
    document::{Element, told},
    expressions::Expression,
    fault::{Fault, Problem},
};

/// Most rules of one item.
pub const MAX_RULES: usize = 20_000;

/// A rule with its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// What it does.
    pub action: Action,
    /// From 1.
    pub line: u64,
}

/// What a rule does.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Gives a variable a value: `set-outcome-value`, `set-template-value`, `set-default-value`, `set-correct-response`.
    Set {
        /// Which of the variable's values.
        what: Target,
        /// The variable.
        identifier: String,
        /// The value.
        value: Expression,
    },
    /// Gives an outcome the value that its table has for a number.
    LookUp {
        /// The outcome.
        identifier: String,
        /// The number.
        value: Expression,
    },
    /// The rules of the first branch that holds, or else those of the last: `response-condition`, `template-condition`.
    Condition {
        /// `…-if` and each `…-else-if`.
        branches: Vec<(Expression, Vec<Rule>)>,
        /// `…-else`.
        otherwise: Vec<Rule>,
    },
    /// Rules that only stand together.
    Fragment(Vec<Rule>),
    /// Nothing more is processed.
    Exit,
    /// Template processing begins again where this does not hold.
    Constraint(Expression),
    /// Something that is kept only to be named.
    Unsupported(String),
}

/// Which of a variable's values is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// An outcome's value.
    Outcome,
    /// A template variable's value.
    Template,
    /// The default value of a response or outcome.
    Default,
    /// The correct response.
    Correct,
}

/// The words of one kind of processing.
struct Kind {
    condition: &'static str,
    branches: [&'static str; 3],
    exit: &'static str,
    sets: &'static [(&'static str, Target)],
    expected: &'static str,
}

const RESPONSE: Kind = Kind {
    condition: "response-condition",
    branches: ["response-if", "response-else-if", "response-else"],
    exit: "exit-response",
    sets: &[("set-outcome-value", Target::Outcome)],
    expected: "a rule of response processing",
};

const TEMPLATE: Kind = Kind {
    condition: "template-condition",
    branches: ["template-if", "template-else-if", "template-else"],
    exit: "exit-template",
    sets: &[
        ("set-template-value", Target::Template),
        ("set-default-value", Target::Default),
        ("set-correct-response", Target::Correct),
    ],
    expected: "a rule of template processing",
};

/// Reads the rules of response processing; faults are gathered.
pub(super) fn read_response(element: Element<'_>, faults: &mut Vec<Fault>) -> Vec<Rule> {
    Reader { kind: &RESPONSE, faults, rules: 0 }.rules(element.children(), true)
}

/// Reads the rules of template processing; faults are gathered.
pub(super) fn read_template(element: Element<'_>, faults: &mut Vec<Fault>) -> Vec<Rule> {
    Reader { kind: &TEMPLATE, faults, rules: 0 }.rules(element.children(), true)
}

struct Reader<'f> {
    kind: &'static Kind,
    faults: &'f mut Vec<Fault>,
    rules: usize,
}

impl Reader<'_> {
    fn rules<'e>(&mut self, elements: impl Iterator<Item = Element<'e>>, top: bool) -> Vec<Rule> {
        let mut rules = Vec::new();
        for element in elements {
            self.rules += 1;
            if self.rules == MAX_RULES + 1 {
                let problem = Problem::TooMany { what: "rules", most: MAX_RULES };
                self.faults.push(Fault { line: element.line, problem });
            }
            if self.rules > MAX_RULES {
                break;
            }
            match self.rule(element, top) {
                Ok(action) => rules.push(Rule { action, line: element.line }),
                Err(fault) => self.faults.push(fault),
            }
        }
        rules
    }

    fn rule(&mut self, element: Element<'_>, top: bool) -> Result<Action, Fault> {
        let name = element.name;
        if let Some((_, what)) = self.kind.sets.iter().find(|(known, _)| *known == name) {
            let identifier = element.required("identifier")?.to_owned();
            return Ok(Action::Set { what: *what, identifier, value: only(element)? });
        }
        match name {
            _ if name == self.kind.condition => Ok(self.condition(element)),
            _ if name == self.kind.exit => Ok(Action::Exit),
            "lookup-outcome-value" if self.kind.condition == RESPONSE.condition => {
                let identifier = element.required("identifier")?.to_owned();
                Ok(Action::LookUp { identifier, value: only(element)? })
            }
            "response-processing-fragment" if self.kind.condition == RESPONSE.condition => {
                Ok(Action::Fragment(self.rules(element.children(), false)))
            }
            "template-constraint" if self.kind.condition == TEMPLATE.condition && top => {
                Ok(Action::Constraint(only(element)?))
            }
            "include" => Ok(Action::Unsupported("an included part of another file".into())),
            _ => Err(Fault::unexpected(
                element.line,
                format!("the element '{}'", told(name)),
                self.kind.expected,
            )),
        }
    }

    fn condition(&mut self, element: Element<'_>) -> Action {
        let [first, more, last] = self.kind.branches;
        let (mut branches, mut otherwise) = (Vec::new(), Vec::new());
        let mut before = "";
        for branch in element.children() {
            let name = branch.name;
            let fits = match before {
                "" => name == first,
                _ if before == last => false,
                _ => name == more || name == last,
            };
            if !fits {
                let found = format!("the element '{}'", told(name));
                let expected = format!("'{first}', then '{more}', then '{last}' at the end");
                self.faults.push(Fault::unexpected(branch.line, found, expected));
            } else if name == last {
                otherwise = self.rules(branch.children(), false);
            } else {
                self.branch(branch, &mut branches);
            }
            before = if name == last { last } else { first };
        }
        Action::Condition { branches, otherwise }
    }

    fn branch(&mut self, element: Element<'_>, branches: &mut Vec<(Expression, Vec<Rule>)>) {
        let mut children = element.children();
        let Some(test) = children.next() else {
            let found = format!("'{}' is empty", element.name);
            self.faults.push(Fault::unexpected(element.line, found, "an expression, then rules"));
            return;
        };
        match Expression::read(test) {
            Ok(test) => branches.push((test, self.rules(children, false))),
            Err(fault) => self.faults.push(fault),
        }
    }
}

/// The one expression in an element.
fn only(element: Element<'_>) -> Result<Expression, Fault> {
    let mut children = element.children();
    match (children.next(), children.next()) {
        (Some(child), None) => Expression::read(child),
        (first, _) => {
            let found = if first.is_none() { "is empty" } else { "has several elements" };
            Err(Fault::unexpected(element.line, format!("'{}' {found}", element.name), "one expression"))
        }
    }
}

impl Rule {
    /// It and all rules in it.
    #[must_use]
    pub fn all(&self) -> Vec<&Self> {
        let mut all = vec![self];
        let inner: Vec<&Self> = match &self.action {
            Action::Condition { branches, otherwise } => {
                branches.iter().flat_map(|(_, rules)| rules).chain(otherwise).collect()
            }
            Action::Fragment(rules) => rules.iter().collect(),
            _ => Vec::new(),
        };
        inner.into_iter().for_each(|rule| all.extend(rule.all()));
        all
    }

    /// The expressions directly in it.
    #[must_use]
    pub fn expressions(&self) -> Vec<&Expression> {
        match &self.action {
            Action::Set { value, .. } | Action::LookUp { value, .. } | Action::Constraint(value) => {
                vec![value]
            }
            Action::Condition { branches, .. } => branches.iter().map(|(test, _)| test).collect(),
            Action::Fragment(_) | Action::Exit | Action::Unsupported(_) => Vec::new(),
        }
    }
}
