//! Writing documents of the profile: a question bank, or a quiz with its one section.
use std::io::Write;

use super::model::{CartridgeItem, Choice, Choices, Condition, Feedback, Interaction, Material, Test};
use crate::xml::{Content, Element, XmlError, XmlWriter};

type Written = Result<(), XmlError>;

/// The namespace of QTI 1.2.1 in a cartridge.
pub(super) const NAMESPACE: &str = "http://www.imsglobal.org/xsd/ims_qtiasiv1p2";
/// The profile of a quiz.
const QUIZ_PROFILE: &str = "cc.exam.v0p1";
/// The name of an item's only response.
const RESPONSE: &str = "response";

/// Writes a question bank.
///
/// # Errors
/// [`XmlError`].
pub fn write_bank(out: impl Write, identifier: &str, items: &[CartridgeItem]) -> Written {
    document(out, |xml| {
        xml.lines(Element::new("objectbank").attribute("ident", identifier), |xml| {
            items.iter().try_for_each(|item| write_item(xml, item))
        })
    })
}

/// Writes a quiz.
///
/// # Errors
/// [`XmlError`].
pub fn write_quiz(out: impl Write, identifier: &str, title: &str, items: &[CartridgeItem]) -> Written {
    document(out, |xml| {
        let quiz = Element::new("assessment").attribute("ident", identifier).attribute("title", title);
        xml.lines(quiz, |xml| {
            metadata(xml, &[("cc_profile", QUIZ_PROFILE)])?;
            xml.lines(Element::new("section").attribute("ident", "root_section"), |xml| {
                items.iter().try_for_each(|item| write_item(xml, item))
            })
        })
    })
}

fn document<W: Write>(out: W, content: impl FnOnce(&mut XmlWriter<W>) -> Written) -> Written {
    let mut xml = XmlWriter::new(out)?;
    xml.lines(Element::new("questestinterop").attribute("xmlns", NAMESPACE), content)?;
    xml.finish().map(drop)
}

fn metadata<W: Write>(xml: &mut XmlWriter<W>, fields: &[(&str, &str)]) -> Written {
    xml.lines(Element::new("qtimetadata"), |xml| {
        fields.iter().try_for_each(|(label, entry)| {
            xml.lines(Element::new("qtimetadatafield"), |xml| {
                xml.text_element(Element::new("fieldlabel"), label)?;
                xml.text_element(Element::new("fieldentry"), entry)
            })
        })
    })
}

fn write_item<W: Write>(xml: &mut XmlWriter<W>, item: &CartridgeItem) -> Written {
    let element = Element::new("item").attribute("ident", &item.identifier).attribute("title", &item.title);
    xml.lines(element, |xml| {
        let mut fields = vec![("cc_profile", item.profile.name())];
        fields.extend(item.weighting.as_deref().map(|weighting| ("cc_weighting", weighting)));
        fields.extend(item.category.as_deref().map(|category| ("cc_question_category", category)));
        xml.lines(Element::new("itemmetadata"), |xml| metadata(xml, &fields))?;
        xml.lines(Element::new("presentation"), |xml| {
            write_material(xml, &item.prompt)?;
            write_interaction(xml, &item.interaction)
        })?;
        xml.lines(Element::new("resprocessing"), |xml| {
            xml.lines(Element::new("outcomes"), |xml| {
                let score = Element::new("decvar")
                    .attribute("maxvalue", "100")
                    .attribute("minvalue", "0")
                    .attribute("varname", "SCORE")
                    .attribute("vartype", "Decimal");
                xml.empty(score)
            })?;
            item.conditions.iter().try_for_each(|condition| write_condition(xml, condition))
        })?;
        item.feedback.iter().try_for_each(|feedback| write_feedback(xml, feedback))
    })
}

fn write_material<W: Write>(xml: &mut XmlWriter<W>, material: &Material) -> Written {
    let (kind, text) = match material {
        Material::Plain(text) => ("text/plain", text),
        Material::Html(text) => ("text/html", text),
    };
    xml.lines(Element::new("material"), |xml| {
        xml.text_element(Element::new("mattext").attribute("texttype", kind), text)
    })
}

fn write_interaction<W: Write>(xml: &mut XmlWriter<W>, interaction: &Interaction) -> Written {
    let (element, cardinality) = match interaction {
        Interaction::Text => ("response_str", "Single"),
        Interaction::One(_) => ("response_lid", "Single"),
        Interaction::Several(_) => ("response_lid", "Multiple"),
    };
    let response = Element::new(element).attribute("ident", RESPONSE).attribute("rcardinality", cardinality);
    xml.lines(response, |xml| match interaction {
        Interaction::Text => xml.lines(Element::new("render_fib").attribute("prompt", "Box"), |xml| {
            xml.empty(Element::new("response_label").attribute("ident", "answer"))
        }),
        Interaction::One(choices) | Interaction::Several(choices) => write_choices(xml, choices),
    })
}

fn write_choices<W: Write>(xml: &mut XmlWriter<W>, choices: &Choices) -> Written {
    let shuffle = if choices.shuffle { "Yes" } else { "No" };
    xml.lines(Element::new("render_choice").attribute("shuffle", shuffle), |xml| {
        choices.choices.iter().try_for_each(|Choice { identifier, text }| {
            xml.lines(Element::new("response_label").attribute("ident", identifier), |xml| {
                write_material(xml, text)
            })
        })
    })
}

fn write_condition<W: Write>(xml: &mut XmlWriter<W>, condition: &Condition) -> Written {
    let continues = if condition.continues { "Yes" } else { "No" };
    xml.lines(Element::new("respcondition").attribute("continue", continues), |xml| {
        xml.lines(Element::new("conditionvar"), |xml| write_test(xml, &condition.test))?;
        if let Some(score) = &condition.score {
            let set = Element::new("setvar").attribute("varname", "SCORE").attribute("action", "Set");
            xml.text_element(set, score)?;
        }
        condition.shows.iter().try_for_each(|identifier| {
            let show = Element::new("displayfeedback").attribute("feedbacktype", "Response");
            xml.empty(show.attribute("linkrefid", identifier))
        })
    })
}

/// Several texts stand under an explicit `or`: without one, readers differ in how they join them.
fn write_test<W: Write>(xml: &mut XmlWriter<W>, test: &Test) -> Written {
    let compare = |name: &'static str, case: bool| {
        let case = if case { "Yes" } else { "No" };
        Element::new(name).attribute("respident", RESPONSE).attribute("case", case)
    };
    match test {
        Test::Equals { text, case } => xml.text_element(compare("varequal", *case), text),
        Test::Contains { text, case } => xml.text_element(compare("varsubstring", *case), text),
        Test::Unanswered => xml.empty(Element::new("unanswered").attribute("respident", RESPONSE)),
        Test::Other => xml.empty(Element::new("other")),
        Test::And(tests) => write_tests(xml, "and", tests),
        Test::Or(tests) => write_tests(xml, "or", tests),
        Test::Not(test) => write_tests(xml, "not", std::slice::from_ref(test)),
    }
}

fn write_tests<W: Write>(xml: &mut XmlWriter<W>, name: &str, tests: &[Test]) -> Written {
    // Begun and ended by hand: a closure that calls its own caller would be a type without end.
    let open = xml.begin(Element::new(name), Content::Lines)?;
    tests.iter().try_for_each(|test| write_test(xml, test))?;
    xml.end(open)
}

fn write_feedback<W: Write>(xml: &mut XmlWriter<W>, feedback: &Feedback) -> Written {
    xml.lines(Element::new("itemfeedback").attribute("ident", &feedback.identifier), |xml| {
        xml.lines(Element::new("flow_mat"), |xml| write_material(xml, &feedback.text))
    })
}
