//! Spells items out as XML in the names of one version.
//!
//! Child order is fixed by the standard; each function here writes its children in that order. HTML elements have
//! the same names in every version, the standard's own go through [`Dialect::spelling`].
use std::{collections::BTreeMap, io::Write};

use super::{
    dialect::Dialect,
    model::{
        AssessmentItem, BaseType, Block, Cardinality, ChoiceInteraction, Identifier, Inline,
        InlineChoiceInteraction, ModalFeedback, OrderInteraction, OutcomeDeclaration, ResponseDeclaration,
        RubricBlock, SimpleChoice, SpokenCard, TemplateDeclaration, TextEntryInteraction,
    },
    processing::{Branch, Expression, Rule, TemplateRule, Tolerance, Value},
    spoken::{Piece, pieces},
};
use crate::xml::{Content, Element, Open, XmlError, XmlWriter};

pub(super) const SCHEMA_INSTANCE: &str = "http://www.w3.org/2001/XMLSchema-instance";

/// The program named in every document.
pub const TOOL_NAME: &str = "tenths";
/// Its version.
pub const TOOL_VERSION: &str = env!("CARGO_PKG_VERSION");

type Written = Result<(), XmlError>;

/// Writes one item as a whole document.
///
/// # Errors
/// [`XmlError`] for text that XML cannot hold, or when the bytes cannot be written.
pub fn write_item(out: impl Write, dialect: &'static Dialect, item: &AssessmentItem) -> Written {
    let mut writer = QtiWriter::new(out, dialect)?;
    writer.item(item)?;
    writer.finish().map(drop)
}

/// Writes one document of items or tests.
pub(super) struct QtiWriter<W: Write> {
    xml: XmlWriter<W>,
    dialect: &'static Dialect,
    /// Which card says a numeral, while the body is written.
    cards: BTreeMap<String, Identifier>,
}

/// What every document needs.
impl<W: Write> QtiWriter<W> {
    pub(super) fn new(out: W, dialect: &'static Dialect) -> Result<Self, XmlError> {
        Ok(Self { xml: XmlWriter::new(out)?, dialect, cards: BTreeMap::new() })
    }

    /// A part of a document that stands inside so many elements.
    pub(super) fn fragment(out: W, dialect: &'static Dialect, depth: usize) -> Self {
        Self { xml: XmlWriter::fragment(out, depth), dialect, cards: BTreeMap::new() }
    }

    pub(super) fn finish(self) -> Result<W, XmlError> {
        self.xml.finish()
    }

    pub(super) fn finish_fragment(self) -> Result<W, XmlError> {
        self.xml.finish_fragment()
    }

    /// One of the standard's own elements.
    pub(super) fn tag<'e>(&self, name: &'e str) -> Element<'e> {
        let spelling = self.dialect.spelling;
        Element::spelled(name, spelling.spell_element(), spelling.spell_attribute())
    }

    /// The outermost element of a document, with its namespace and schema.
    pub(super) fn root<'e>(&self, name: &'e str) -> Element<'e> {
        self.tag(name).first_attributes(&self.dialect.root)
    }

    /// An element with child elements.
    pub(super) fn parent(
        &mut self,
        tag: Element<'_>,
        children: impl FnOnce(&mut Self) -> Written,
    ) -> Written {
        self.within(tag, Content::Lines, children)
    }

    /// Begins an element with child elements that come one by one, up to [`QtiWriter::end`].
    pub(super) fn begin<'e>(&mut self, tag: Element<'e>) -> Result<Open<'e>, XmlError> {
        self.xml.begin(tag, Content::Lines)
    }

    /// Goes on inside an element that an earlier part of the document has begun.
    pub(super) fn resume<'e>(&mut self, tag: &Element<'e>) -> Open<'e> {
        self.xml.resume(tag)
    }

    /// Ends the element that was begun last.
    pub(super) fn end(&mut self, open: Open<'_>) -> Written {
        self.xml.end(open)
    }

    /// An element without content.
    pub(super) fn empty(&mut self, tag: Element<'_>) -> Written {
        self.xml.empty(tag)
    }

    /// An element that holds only text.
    pub(super) fn text(&mut self, tag: Element<'_>, text: &str) -> Written {
        self.xml.text_element(tag, text)
    }

    fn within(
        &mut self,
        element: Element<'_>,
        content: Content,
        children: impl FnOnce(&mut Self) -> Written,
    ) -> Written {
        let open = self.xml.begin(element, content)?;
        children(self)?;
        self.xml.end(open)
    }
}

impl QtiWriter<Vec<u8>> {
    /// How much is written: where something belongs that is left out.
    pub(super) fn gap(&mut self) -> Result<usize, XmlError> {
        self.xml.gap()
    }
}

/// Items.
impl<W: Write> QtiWriter<W> {
    fn item(&mut self, item: &AssessmentItem) -> Written {
        let root = self
            .root("assessment-item")
            .attribute("identifier", item.identifier.as_str())
            .attribute("title", &item.title)
            .attribute("xml:lang", &item.language)
            .attribute("adaptive", "false")
            .attribute("time-dependent", "false")
            .attribute("tool-name", TOOL_NAME)
            .attribute("tool-version", TOOL_VERSION);
        self.parent(root, |w| {
            item.responses.iter().try_for_each(|declaration| w.response_declaration(declaration))?;
            item.outcomes.iter().try_for_each(|declaration| w.outcome_declaration(declaration))?;
            item.templates.iter().try_for_each(|declaration| w.template_declaration(declaration))?;
            if !item.template_processing.is_empty() {
                w.parent(w.tag("template-processing"), |w| w.template_rules(&item.template_processing))?;
            }
            w.body(item)?;
            w.parent(w.tag("response-processing"), |w| w.rules(&item.processing))?;
            item.feedback.iter().try_for_each(|feedback| w.modal_feedback(feedback))
        })
    }

    /// What the pupil sees, and how the numbers in it are said where the version has words for that.
    fn body(&mut self, item: &AssessmentItem) -> Written {
        let catalog = if self.dialect.catalog { item.catalog.as_slice() } else { &[] };
        let card = |card: &SpokenCard| (card.numeral.clone(), card.identifier.clone());
        self.cards = catalog.iter().map(card).collect();
        self.parent(self.tag("item-body"), |w| w.blocks(&item.body))?;
        self.cards.clear();
        if catalog.is_empty() {
            return Ok(());
        }
        self.parent(self.tag("catalog-info"), |w| catalog.iter().try_for_each(|card| w.spoken_card(card)))
    }

    fn spoken_card(&mut self, card: &SpokenCard) -> Written {
        self.parent(self.tag("catalog").attribute("id", card.identifier.as_str()), |w| {
            w.parent(w.tag("card").attribute("support", "spoken"), |w| {
                w.text(w.tag("html-content"), &card.words)
            })
        })
    }

    fn response_declaration(&mut self, declaration: &ResponseDeclaration) -> Written {
        let ResponseDeclaration { identifier, cardinality, base_type, correct } = declaration;
        let tag = self.declaration("response-declaration", identifier, *cardinality, *base_type);
        if correct.is_empty() {
            return self.empty(tag);
        }
        self.parent(tag, |w| {
            w.parent(w.tag("correct-response"), |w| {
                correct.iter().try_for_each(|value| w.text(w.tag("value"), &value.to_string()))
            })
        })
    }

    /// Shared with tests, which declare outcomes in the same words.
    pub(super) fn outcome_declaration(&mut self, declaration: &OutcomeDeclaration) -> Written {
        let maximum = declaration.normal_maximum.map(|maximum| maximum.to_string());
        let tag = self
            .declaration(
                "outcome-declaration",
                &declaration.identifier,
                declaration.cardinality,
                declaration.base_type,
            )
            .attribute_if("normal-maximum", maximum.as_deref())
            .attribute_if("normal-minimum", maximum.as_ref().map(|_| "0"));
        match &declaration.default {
            None => self.empty(tag),
            Some(value) => self.parent(tag, |w| {
                w.parent(w.tag("default-value"), |w| w.text(w.tag("value"), &value.to_string()))
            }),
        }
    }

    fn template_declaration(&mut self, declaration: &TemplateDeclaration) -> Written {
        let TemplateDeclaration { identifier, cardinality, base_type, default } = declaration;
        let tag = self.declaration("template-declaration", identifier, *cardinality, *base_type);
        if default.is_empty() {
            return self.empty(tag);
        }
        self.parent(tag, |w| {
            w.parent(w.tag("default-value"), |w| {
                default.iter().try_for_each(|value| w.text(w.tag("value"), &value.to_string()))
            })
        })
    }

    fn declaration<'e>(
        &self,
        name: &'e str,
        identifier: &'e Identifier,
        cardinality: Cardinality,
        base_type: BaseType,
    ) -> Element<'e> {
        let cardinality = match cardinality {
            Cardinality::Single => "single",
            Cardinality::Multiple => "multiple",
            Cardinality::Ordered => "ordered",
        };
        let base_type = match base_type {
            BaseType::Float => "float",
            BaseType::Integer => "integer",
            BaseType::Identifier => "identifier",
            BaseType::String => "string",
        };
        self.tag(name)
            .attribute("identifier", identifier.as_str())
            .attribute("cardinality", cardinality)
            .attribute("base-type", base_type)
    }

    fn modal_feedback(&mut self, feedback: &ModalFeedback) -> Written {
        let tag = self
            .tag("modal-feedback")
            .attribute("outcome-identifier", feedback.outcome.as_str())
            .attribute("identifier", feedback.identifier.as_str())
            .attribute("show-hide", "show")
            .attribute_if("title", feedback.title.as_deref());
        self.parent(tag, |w| w.content_body(&feedback.content))
    }

    /// Content of feedback and rubric, wrapped where the version wants it so.
    fn content_body(&mut self, content: &[Block]) -> Written {
        if self.dialect.content_body {
            self.parent(self.tag("content-body"), |w| w.blocks(content))
        } else {
            self.blocks(content)
        }
    }
}

/// Content.
impl<W: Write> QtiWriter<W> {
    fn blocks(&mut self, blocks: &[Block]) -> Written {
        blocks.iter().try_for_each(|block| self.block(block))
    }

    fn block(&mut self, block: &Block) -> Written {
        match block {
            Block::Paragraph(content) => self.within(Element::new("p"), Content::Running, |w| {
                content.iter().try_for_each(|part| w.inline(part))
            }),
            Block::Preformatted(text) => self.xml.text_element(Element::new("pre"), text),
            Block::Division { class, content } => {
                let element = Element::new("div").attribute("class", class);
                self.within(element, Content::Lines, |w| w.blocks(content))
            }
            Block::Choice(interaction) => self.choice_interaction(interaction),
            Block::Order(interaction) => self.order_interaction(interaction),
            Block::Rubric(rubric) => self.rubric_block(rubric),
        }
    }

    fn inline(&mut self, inline: &Inline) -> Written {
        match inline {
            Inline::Text(text) => self.spoken_text(text),
            Inline::TextEntry(interaction) => self.text_entry_interaction(interaction),
            Inline::InlineChoice(interaction) => self.inline_choice_interaction(interaction),
            Inline::Printed(printed) => {
                let format = printed.places.map(|places| format!("%.{places}f"));
                let tag = self.tag("printed-variable").attribute("identifier", printed.identifier.as_str());
                self.empty(tag.attribute_if("format", format.as_deref()))
            }
        }
    }

    fn text_entry_interaction(&mut self, interaction: &TextEntryInteraction) -> Written {
        let length = interaction.expected_length.to_string();
        let tag = self
            .tag("text-entry-interaction")
            .attribute("response-identifier", interaction.response.as_str())
            .attribute_if("string-identifier", interaction.raw.as_ref().map(Identifier::as_str))
            .attribute("expected-length", &length)
            .attribute_if("aria-label", self.dialect.aria.then_some(&*interaction.label));
        self.empty(tag)
    }

    /// Text in which every numeral with a card refers to it.
    fn spoken_text(&mut self, text: &str) -> Written {
        if self.cards.is_empty() {
            return self.xml.text(text);
        }
        pieces(text).into_iter().try_for_each(|piece| match piece {
            Piece::Numeral(numeral) if self.cards.contains_key(numeral) => {
                let card = self.cards[numeral].as_str();
                let span = Element::new("span").attribute("data-catalog-idref", card);
                self.xml.text_element(span, numeral)
            }
            Piece::Numeral(text) | Piece::Text(text) => self.xml.text(text),
        })
    }

    /// An element that holds only text in which numerals refer to their cards.
    fn spoken_element(&mut self, tag: Element<'_>, text: &str) -> Written {
        self.within(tag, Content::Running, |w| w.spoken_text(text))
    }

    fn inline_choice_interaction(&mut self, interaction: &InlineChoiceInteraction) -> Written {
        let tag = self
            .tag("inline-choice-interaction")
            .attribute("response-identifier", interaction.response.as_str())
            .attribute("shuffle", "false")
            .attribute_if("aria-label", self.dialect.aria.then_some(&*interaction.label));
        self.within(tag, Content::Running, |w| w.choices("inline-choice", &interaction.choices))
    }

    fn choice_interaction(&mut self, interaction: &ChoiceInteraction) -> Written {
        let tag = self
            .tag("choice-interaction")
            .attribute("response-identifier", interaction.response.as_str())
            .attribute("shuffle", if interaction.shuffle { "true" } else { "false" })
            .attribute("max-choices", "1");
        self.prompt_and_choices(tag, &interaction.prompt, &interaction.choices)
    }

    /// Without a number of choices: all of them are to be put in order.
    fn order_interaction(&mut self, interaction: &OrderInteraction) -> Written {
        let tag = self
            .tag("order-interaction")
            .attribute("response-identifier", interaction.response.as_str())
            .attribute("shuffle", if interaction.shuffle { "true" } else { "false" });
        self.prompt_and_choices(tag, &interaction.prompt, &interaction.choices)
    }

    fn prompt_and_choices(&mut self, tag: Element<'_>, prompt: &str, choices: &[SimpleChoice]) -> Written {
        self.parent(tag, |w| {
            if !prompt.is_empty() {
                w.spoken_element(w.tag("prompt"), prompt)?;
            }
            w.choices("simple-choice", choices)
        })
    }

    fn choices(&mut self, name: &str, choices: &[SimpleChoice]) -> Written {
        choices.iter().try_for_each(|choice| {
            let tag = self.tag(name).attribute("identifier", choice.identifier.as_str());
            self.running(tag, &choice.text)
        })
    }

    /// An element of text in which boxes and variables may stand.
    fn running(&mut self, tag: Element<'_>, content: &[Inline]) -> Written {
        self.within(tag, Content::Running, |w| content.iter().try_for_each(|part| w.inline(part)))
    }

    /// Without references to cards: nobody has a rubric read out to a pupil.
    fn rubric_block(&mut self, rubric: &RubricBlock) -> Written {
        let tag = self.tag("rubric-block").attribute("view", "scorer").attribute("use", "scoring");
        let cards = std::mem::take(&mut self.cards);
        let written = self.parent(tag, |w| w.content_body(&rubric.content));
        self.cards = cards;
        written
    }
}

/// Rules and expressions.
impl<W: Write> QtiWriter<W> {
    fn rules(&mut self, rules: &[Rule]) -> Written {
        rules.iter().try_for_each(|rule| self.rule(rule))
    }

    fn rule(&mut self, rule: &Rule) -> Written {
        match rule {
            Rule::SetOutcomeValue(outcome, value) => {
                let tag = self.tag("set-outcome-value").attribute("identifier", outcome.as_str());
                self.parent(tag, |w| w.expression(value))
            }
            Rule::Condition { branches, otherwise } => self.parent(self.tag("response-condition"), |w| {
                for (index, Branch { test, rules }) in branches.iter().enumerate() {
                    let name = if index == 0 { "response-if" } else { "response-else-if" };
                    w.parent(w.tag(name), |w| {
                        w.expression(test)?;
                        w.rules(rules)
                    })?;
                }
                if otherwise.is_empty() {
                    return Ok(());
                }
                w.parent(w.tag("response-else"), |w| w.rules(otherwise))
            }),
        }
    }

    fn template_rules(&mut self, rules: &[TemplateRule]) -> Written {
        rules.iter().try_for_each(|rule| self.template_rule(rule))
    }

    fn template_rule(&mut self, rule: &TemplateRule) -> Written {
        match rule {
            TemplateRule::SetTemplateValue(variable, value) => {
                let tag = self.tag("set-template-value").attribute("identifier", variable.as_str());
                self.operator(tag, [value])
            }
            TemplateRule::SetCorrectResponse(response, value) => {
                let tag = self.tag("set-correct-response").attribute("identifier", response.as_str());
                self.operator(tag, [value])
            }
            TemplateRule::Constraint(test) => self.operator(self.tag("template-constraint"), [test]),
            TemplateRule::Condition { branches, otherwise } => {
                self.parent(self.tag("template-condition"), |w| {
                    for (index, Branch { test, rules }) in branches.iter().enumerate() {
                        let name = if index == 0 { "template-if" } else { "template-else-if" };
                        w.parent(w.tag(name), |w| {
                            w.expression(test)?;
                            w.template_rules(rules)
                        })?;
                    }
                    if otherwise.is_empty() {
                        return Ok(());
                    }
                    w.parent(w.tag("template-else"), |w| w.template_rules(otherwise))
                })
            }
        }
    }

    fn expression(&mut self, expression: &Expression) -> Written {
        use Expression as E;
        match expression {
            E::Variable(identifier) => {
                let tag = self.tag("variable").attribute("identifier", identifier.as_str());
                self.empty(tag)
            }
            E::BaseValue(value) => {
                let base_type = match value {
                    Value::Float(_) => "float",
                    Value::Integer(_) => "integer",
                    Value::Boolean(_) => "boolean",
                    Value::Identifier(_) => "identifier",
                    Value::Text(_) => "string",
                };
                self.text(self.tag("base-value").attribute("base-type", base_type), &value.to_string())
            }
            E::Ordered(parts) => self.operator(self.tag("ordered"), parts),
            E::Multiple(parts) => self.operator(self.tag("multiple"), parts),
            E::RandomInteger { min, max, step } => {
                let [min, max, step] = [min, max, step].map(ToString::to_string);
                let tag = self
                    .tag("random-integer")
                    .attribute("min", &min)
                    .attribute("max", &max)
                    .attribute("step", &step);
                self.empty(tag)
            }
            E::Random(inner) => self.operator(self.tag("random"), [&**inner]),
            E::Null => self.empty(self.tag("null")),
            E::IsNull(inner) => self.operator(self.tag("is-null"), [&**inner]),
            E::Not(inner) => self.operator(self.tag("not"), [&**inner]),
            E::Round(inner) => self.operator(self.tag("round"), [&**inner]),
            E::Truncate(inner) => self.operator(self.tag("truncate"), [&**inner]),
            E::IntegerToFloat(inner) => self.operator(self.tag("integer-to-float"), [&**inner]),
            E::IntegerDivide(first, second) => self.operator(self.tag("integer-divide"), [&**first, second]),
            E::IntegerModulus(first, second) => {
                self.operator(self.tag("integer-modulus"), [&**first, second])
            }
            E::And(parts) => self.operator(self.tag("and"), parts),
            E::Or(parts) => self.operator(self.tag("or"), parts),
            E::Sum(parts) => self.operator(self.tag("sum"), parts),
            E::Product(parts) => self.operator(self.tag("product"), parts),
            E::Min(parts) => self.operator(self.tag("min"), parts),
            E::Max(parts) => self.operator(self.tag("max"), parts),
            E::Match(first, second) => self.operator(self.tag("match"), [&**first, second]),
            E::Lt(first, second) => self.operator(self.tag("lt"), [&**first, second]),
            E::Lte(first, second) => self.operator(self.tag("lte"), [&**first, second]),
            E::Gt(first, second) => self.operator(self.tag("gt"), [&**first, second]),
            E::Gte(first, second) => self.operator(self.tag("gte"), [&**first, second]),
            E::Subtract(first, second) => self.operator(self.tag("subtract"), [&**first, second]),
            E::Divide(first, second) => self.operator(self.tag("divide"), [&**first, second]),
            E::Equal { key, response, tolerance: Tolerance(tolerance) } => {
                // Two numbers, though one would do: some readers know only the long form.
                let both = format!("{tolerance} {tolerance}");
                let tag =
                    self.tag("equal").attribute("tolerance-mode", "absolute").attribute("tolerance", &both);
                self.operator(tag, [&**key, response])
            }
            E::PatternMatch { pattern, text } => {
                self.operator(self.tag("pattern-match").attribute("pattern", pattern), [&**text])
            }
        }
    }

    fn operator<'e>(
        &mut self,
        tag: Element<'_>,
        operands: impl IntoIterator<Item = &'e Expression>,
    ) -> Written {
        self.parent(tag, |w| operands.into_iter().try_for_each(|operand| w.expression(operand)))
    }
}
