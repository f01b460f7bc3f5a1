//! What an item shows: interactions, printed variables, feedback.
use super::{
    document::{Element, told},
    fault::Fault,
};

/// Something to answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Interaction {
    /// How it is answered.
    pub kind: InteractionKind,
    /// The variable that holds the response.
    pub response: String,
    /// Where it stands, from 1.
    pub line: u64,
}

/// How an interaction is answered.
#[derive(Clone, Debug, PartialEq)]
pub enum InteractionKind {
    /// By typing.
    TextEntry {
        /// The string variable that keeps the text as typed.
        string: Option<String>,
        /// The base in which an integer is written.
        base: u32,
        /// What the text should look like; platforms are free to do nothing about it.
        mask: Option<String>,
    },
    /// By choosing.
    Choice(Choosing),
    /// By choosing one inside a line of text.
    InlineChoice(Choosing),
    /// By putting in order.
    Order(Choosing),
    /// In a way that is not played here; its name.
    Other(String),
}

/// What can be chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choosing {
    /// The identifiers of the choices.
    pub choices: Vec<String>,
    /// The most that can be chosen; `None` without limit.
    pub most: Option<usize>,
}

/// Where a variable is printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PrintedVariable {
    /// The variable.
    pub identifier: String,
    /// How it is printed.
    pub format: Option<String>,
    /// Where it stands, from 1.
    pub line: u64,
}

/// Something shown or hidden by what a variable holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feedback {
    /// The element: `modal-feedback`, `feedback-inline`, `feedback-block`, `template-inline`, `template-block`.
    pub kind: String,
    /// The variable.
    pub variable: String,
    /// What it must hold.
    pub identifier: String,
    /// Whether it is shown then; otherwise it is hidden then.
    pub show: bool,
    /// The text.
    pub text: String,
    /// Where it stands, from 1.
    pub line: u64,
}

const FEEDBACK: [&str; 5] =
    ["modal-feedback", "feedback-inline", "feedback-block", "template-inline", "template-block"];

/// What is in a body, and in feedback beside it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Body {
    /// In the order written.
    pub interactions: Vec<Interaction>,
    /// In the order written.
    pub printed: Vec<PrintedVariable>,
    /// In the order written.
    pub feedback: Vec<Feedback>,
    /// All words of the body, a blank between each.
    pub text: String,
}

impl Body {
    /// Adds all that is in an element of the item; faults are gathered.
    pub(super) fn add(&mut self, element: Element<'_>, faults: &mut Vec<Fault>) {
        if element.name == "item-body" {
            self.text = words(element);
        }
        for inner in element.descendants().filter(|inner| inner.standard) {
            if let Err(fault) = self.add_one(inner) {
                faults.push(fault);
            }
        }
    }

    fn add_one(&mut self, element: Element<'_>) -> Result<(), Fault> {
        let name = element.name;
        if name.ends_with("-interaction") {
            self.interactions.push(interaction(element)?);
        } else if name == "printed-variable" {
            self.printed.push(PrintedVariable {
                identifier: element.required("identifier")?.to_owned(),
                format: element.attribute("format").map(str::to_owned),
                line: element.line,
            });
        } else if FEEDBACK.contains(&name) {
            self.feedback.push(feedback(element)?);
        }
        Ok(())
    }
}

fn feedback(element: Element<'_>) -> Result<Feedback, Fault> {
    let variable =
        if element.name.starts_with("template-") { "template-identifier" } else { "outcome-identifier" };
    let show = element.one_of("show-hide", &[("show", true), ("hide", false)])?;
    Ok(Feedback {
        kind: element.name.to_owned(),
        variable: element.required(variable)?.to_owned(),
        identifier: element.required("identifier")?.to_owned(),
        show: show.unwrap_or(true),
        text: words(element),
        line: element.line,
    })
}

fn words(element: Element<'_>) -> String {
    element.text().split_whitespace().collect::<Vec<_>>().join(" ")
}

fn interaction(element: Element<'_>) -> Result<Interaction, Fault> {
    // An end-attempt-interaction and a media-interaction have a response, too; a positioned object has it inside.
    let response = match element.name {
        "position-object-interaction" => element.attribute("response-identifier").unwrap_or_default(),
        _ => element.required("response-identifier")?,
    };
    let kind = match element.name {
        "text-entry-interaction" => InteractionKind::TextEntry {
            string: element.attribute("string-identifier").map(str::to_owned),
            base: base(element)?,
            mask: element.attribute("pattern-mask").map(str::to_owned),
        },
        "choice-interaction" => {
            // The binding of 3.0 has no limit unless one is written; the older ones one choice.
            InteractionKind::Choice(choosing(element, "simple-choice", element.number("max-choices")?)?)
        }
        "inline-choice-interaction" => {
            InteractionKind::InlineChoice(choosing(element, "inline-choice", Some(1))?)
        }
        "order-interaction" => InteractionKind::Order(choosing(element, "simple-choice", None)?),
        other => InteractionKind::Other(told(other)),
    };
    Ok(Interaction { kind, response: response.to_owned(), line: element.line })
}

fn base(element: Element<'_>) -> Result<u32, Fault> {
    match element.number("base")? {
        None => Ok(10),
        Some(base) if (2..=36).contains(&base) => Ok(base),
        Some(base) => Err(element.strange("base", &base.to_string(), "2 to 36")),
    }
}

fn choosing(element: Element<'_>, name: &str, most: Option<usize>) -> Result<Choosing, Fault> {
    let choices = element.all(name).map(|choice| choice.required("identifier").map(str::to_owned));
    let choices: Vec<String> = choices.collect::<Result<_, _>>()?;
    match choices.iter().enumerate().find(|(index, choice)| choices[..*index].contains(choice)) {
        Some((_, twice)) => Err(Fault {
            line: element.line,
            problem: super::fault::Problem::Twice { what: "choice", name: told(twice) },
        }),
        None => Ok(Choosing { choices, most: most.filter(|most| *most > 0) }),
    }
}
