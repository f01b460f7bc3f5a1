//! The link to a live quiz: a launch of a tool, as a cartridge carries it.
use std::io::Write;

use super::LiveQuiz;
use crate::{
    qti::write::TOOL_NAME,
    xml::{Element, XmlError, XmlWriter},
};

/// The name of the link in cartridges of version 1.3; what it holds is still of the first version.
const LINK: &str = "http://www.imsglobal.org/xsd/imslticc_v1p3";
const TOOL: &str = "http://www.imsglobal.org/xsd/imsbasiclti_v1p0";
const CUSTOM: &str = "http://www.imsglobal.org/xsd/imslticm_v1p0";
const VENDOR: &str = "http://www.imsglobal.org/xsd/imslticp_v1p0";

pub(super) fn write_link(out: impl Write, title: &str, live_quiz: &LiveQuiz) -> Result<(), XmlError> {
    let mut xml = XmlWriter::new(out)?;
    let root = Element::new("cartridge_basiclti_link")
        .attribute("xmlns", LINK)
        .attribute("xmlns:blti", TOOL)
        .attribute("xmlns:lticm", CUSTOM)
        .attribute("xmlns:lticp", VENDOR);
    xml.lines(root, |xml| {
        xml.text_element(Element::new("blti:title"), title)?;
        if !live_quiz.custom.is_empty() {
            xml.lines(Element::new("blti:custom"), |xml| {
                live_quiz.custom.iter().try_for_each(|(name, value)| {
                    xml.text_element(Element::new("lticm:property").attribute("name", name), value)
                })
            })?;
        }
        xml.text_element(Element::new("blti:launch_url"), &live_quiz.launch_url)?;
        if live_quiz.launch_url.starts_with("https://") {
            xml.text_element(Element::new("blti:secure_launch_url"), &live_quiz.launch_url)?;
        }
        xml.lines(Element::new("blti:vendor"), |xml| {
            xml.text_element(Element::new("lticp:code"), TOOL_NAME)?;
            xml.text_element(Element::new("lticp:name"), TOOL_NAME)
        })
    })?;
    xml.finish().map(drop)
}
