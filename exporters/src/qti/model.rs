//! The standard's own words for an item: declarations, body, interactions, feedback (QTI ASI 3.0; the 2.x versions
//! have the same under other spellings).
//!
//! A value of these types is one item, ready to be spelled out by [`super::write`]. It holds what our items use of
//! the standard, not all of it, and decides nothing about content.
use std::fmt;

use qbank::decimal::Decimal;
use smol_str::SmolStr;

use super::processing::{Rule, TemplateRule, Value};

/// A name inside an item: starts with a letter or `_`, goes on with letters, digits, `_`, `-` and `.` (ASCII only,
/// the part of the standard's rule on which all readers agree).
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Identifier(SmolStr);

/// A text that cannot be an identifier.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{text}' is no identifier; expected a letter or '_', then letters, digits, '_', '-' or '.'")]
pub struct IdentifierError {
    /// The text, shortened.
    pub text: String,
}

impl Identifier {
    /// Checks a name.
    ///
    /// # Errors
    /// [`IdentifierError`].
    pub fn new(text: &str) -> Result<Self, IdentifierError> {
        let rest = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-' | b'.');
        let first = text.bytes().next().is_some_and(|byte| byte.is_ascii_alphabetic() || byte == b'_');
        if first && text.bytes().all(rest) {
            Ok(Self(text.into()))
        } else {
            Err(IdentifierError { text: text.chars().take(60).collect() })
        }
    }

    /// A name fixed in this crate.
    pub(crate) fn fixed(text: &'static str) -> Self {
        debug_assert!(Self::new(text).is_ok(), "a name written in this crate follows the rule: {text}");
        Self(SmolStr::new_static(text))
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Identifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The base types our variables have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BaseType {
    /// A binary floating-point number in the reader's engine.
    Float,
    /// A whole number of 32 bits.
    Integer,
    /// A name.
    Identifier,
    /// Text.
    String,
}

/// How many values a variable holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cardinality {
    /// One.
    Single,
    /// A bag.
    Multiple,
    /// A list whose order counts.
    Ordered,
}

/// A variable that holds what the pupil gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ResponseDeclaration {
    /// Its name.
    pub identifier: Identifier,
    /// How many values it holds.
    pub cardinality: Cardinality,
    /// Their type.
    pub base_type: BaseType,
    /// The right answer: one value, all of an order, or none where the type cannot hold it.
    pub correct: Vec<Value>,
}

/// A variable that response processing sets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutcomeDeclaration {
    /// Its name.
    pub identifier: Identifier,
    /// How many values it holds.
    pub cardinality: Cardinality,
    /// Its type.
    pub base_type: BaseType,
    /// Its value before any rule has run.
    pub default: Option<Value>,
    /// The most it can reach, for a score.
    pub normal_maximum: Option<u32>,
}

/// A variable that template processing sets, once for each pupil's session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TemplateDeclaration {
    /// Its name.
    pub identifier: Identifier,
    /// How many values it holds.
    pub cardinality: Cardinality,
    /// Its type.
    pub base_type: BaseType,
    /// What it holds when no draw has satisfied the constraints: one value, all of an order, or none.
    pub default: Vec<Value>,
}

/// Content that stands on its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    /// A paragraph.
    Paragraph(Vec<Inline>),
    /// Text whose spaces and line ends count, such as a column working.
    Preformatted(SmolStr),
    /// A part of the body, with a class for style sheets.
    Division {
        /// The class.
        class: &'static str,
        /// What stands in it.
        content: Vec<Block>,
    },
    /// A choice.
    Choice(ChoiceInteraction),
    /// An order.
    Order(OrderInteraction),
    /// Words for one reader's view only.
    Rubric(RubricBlock),
}

impl Block {
    /// A paragraph of plain text.
    #[must_use]
    pub fn text(text: impl Into<SmolStr>) -> Self {
        Self::Paragraph(vec![Inline::Text(text.into())])
    }
}

/// Content inside a paragraph.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Inline {
    /// Plain text.
    Text(SmolStr),
    /// A box to write in.
    TextEntry(TextEntryInteraction),
    /// A choice inside a line.
    InlineChoice(InlineChoiceInteraction),
    /// The value of a template variable.
    Printed(PrintedVariable),
}

/// A template variable told in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PrintedVariable {
    /// The variable.
    pub identifier: Identifier,
    /// With how many places a number is written; none for a text.
    pub places: Option<u32>,
}

impl From<&str> for Inline {
    fn from(text: &str) -> Self {
        Self::Text(text.into())
    }
}

/// A box to write in. It has no pattern mask on purpose: a reader may throw away what does not fit a mask, and the
/// pupil's own text is what a diagnosis needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextEntryInteraction {
    /// The variable that holds the answer.
    pub response: Identifier,
    /// The string variable that keeps the text as typed.
    pub raw: Option<Identifier>,
    /// What the box is for, said by screen readers.
    pub label: String,
    /// Width of the box in characters.
    pub expected_length: u32,
}

/// One of several short texts, chosen by the pupil within a line, in the order in which they stand here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InlineChoiceInteraction {
    /// The variable that holds the chosen identifier.
    pub response: Identifier,
    /// What is chosen, said by screen readers.
    pub label: String,
    /// The choices in their own order.
    pub choices: Vec<SimpleChoice>,
}

/// One of several, chosen by the pupil.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChoiceInteraction {
    /// The variable that holds the chosen identifier.
    pub response: Identifier,
    /// Whether the reader may change the order.
    pub shuffle: bool,
    /// The question put; empty where it stands before the interaction, because a prompt cannot hold variables.
    pub prompt: String,
    /// The choices in their own order.
    pub choices: Vec<SimpleChoice>,
}

/// All choices, put in order by the pupil.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OrderInteraction {
    /// The variable that holds the identifiers in the pupil's order.
    pub response: Identifier,
    /// Whether the reader may change the order in which the choices first stand.
    pub shuffle: bool,
    /// The question put; empty where it stands before the interaction, because a prompt cannot hold variables.
    pub prompt: String,
    /// The choices in their own order.
    pub choices: Vec<SimpleChoice>,
}

/// One choice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SimpleChoice {
    /// Its identifier, unique in the interaction.
    pub identifier: Identifier,
    /// What the pupil reads.
    pub text: Vec<Inline>,
}

/// Words for those who score by hand or check a score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RubricBlock {
    /// What stands in it.
    pub content: Vec<Block>,
}

/// Words shown after an attempt when an outcome variable holds a certain identifier.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ModalFeedback {
    /// The outcome variable.
    pub outcome: Identifier,
    /// The identifier it must hold.
    pub identifier: Identifier,
    /// A heading.
    pub title: Option<SmolStr>,
    /// The words.
    pub content: Vec<Block>,
}

/// How a number is said wherever it stands in an item's body: a card of the accessibility catalogue, which only some
/// versions have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpokenCard {
    /// The catalogue's name for it, to which the body refers.
    pub identifier: Identifier,
    /// The number as it is written.
    pub numeral: String,
    /// The number in words.
    pub words: String,
}

/// One item.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AssessmentItem {
    /// Its identifier, unique in a package.
    pub identifier: Identifier,
    /// Its title, which a pupil may see.
    pub title: SmolStr,
    /// The language of its text (BCP 47).
    pub language: SmolStr,
    /// What the pupil gives.
    pub responses: Vec<ResponseDeclaration>,
    /// What response processing finds.
    pub outcomes: Vec<OutcomeDeclaration>,
    /// What varies from session to session; empty for a fixed item.
    pub templates: Vec<TemplateDeclaration>,
    /// How it is drawn; empty for a fixed item.
    pub template_processing: Vec<TemplateRule>,
    /// What the pupil sees.
    pub body: Vec<Block>,
    /// How numbers in the body are said; each numeral once.
    pub catalog: Vec<SpokenCard>,
    /// How responses become outcomes.
    pub processing: Vec<Rule>,
    /// What the pupil is told afterwards.
    pub feedback: Vec<ModalFeedback>,
}

impl ResponseDeclaration {
    /// A variable for one value.
    #[must_use]
    pub fn single(identifier: Identifier, base_type: BaseType, correct: Option<Value>) -> Self {
        let correct = correct.into_iter().collect();
        Self { identifier, cardinality: Cardinality::Single, base_type, correct }
    }

    /// A variable for identifiers in order.
    #[must_use]
    pub fn ordered(identifier: Identifier, correct: &[Identifier]) -> Self {
        let correct = correct.iter().cloned().map(Value::Identifier).collect();
        Self { identifier, cardinality: Cardinality::Ordered, base_type: BaseType::Identifier, correct }
    }
}

impl OutcomeDeclaration {
    /// A number that starts at `default` and can reach `maximum`.
    #[must_use]
    pub fn score(identifier: Identifier, default: Decimal, maximum: Option<u32>) -> Self {
        let default = Some(Value::Float(default));
        Self { default, normal_maximum: maximum, ..Self::unset(identifier, BaseType::Float) }
    }

    /// A variable that is null until a rule sets it (zero, for a number).
    #[must_use]
    pub fn unset(identifier: Identifier, base_type: BaseType) -> Self {
        Self { identifier, cardinality: Cardinality::Single, base_type, default: None, normal_maximum: None }
    }
}
