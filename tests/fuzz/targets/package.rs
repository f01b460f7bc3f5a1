//! Any bytes as a package and as one of its files. An archive is refused, or all of its members are read within the limits;
//! a document is refused, or what was read of it is written and read back as the same.
#![no_main]

use std::io::{BufReader, Cursor};

use exporters::{
    archive::reading::ArchiveReader,
    xml::{
        Content, Element, XmlWriter,
        reading::{Node, XmlReader},
    },
};
use libfuzzer_sys::fuzz_target;

/// Everything in a document, texts joined; `None` if it is refused.
fn read(bytes: impl std::io::BufRead) -> Option<Vec<Node>> {
    let mut reader = XmlReader::new(bytes);
    let mut nodes = Vec::new();
    while let Some(node) = reader.next_node().ok()? {
        match (nodes.last_mut(), node) {
            (Some(Node::Text(text)), Node::Text(more)) => text.push_str(&more),
            (_, Node::Text(text)) if text.is_empty() => {}
            (_, Node::Start(mut tag)) => {
                tag.line = 0;
                nodes.push(Node::Start(tag));
            }
            (_, node) => nodes.push(node),
        }
    }
    Some(nodes)
}

/// The attributes of an element, its namespace first.
fn attributes(node: &Node) -> Vec<(&str, &str)> {
    let Node::Start(tag) = node else { return Vec::new() };
    let own = tag.attributes.iter().map(|(name, value)| (name.as_str(), value.as_str()));
    std::iter::once(("xmlns", tag.namespace.as_str())).chain(own).collect()
}

/// The document again, each element with its namespace.
fn written(nodes: &[Node]) -> Vec<u8> {
    let mut writer = XmlWriter::new(Vec::new()).unwrap();
    let attributes: Vec<Vec<(&str, &str)>> = nodes.iter().map(attributes).collect();
    let mut open = Vec::new();
    for (node, attributes) in nodes.iter().zip(&attributes) {
        match node {
            Node::Start(tag) => {
                let element = Element::new(&tag.name).first_attributes(attributes);
                open.push(writer.begin(element, Content::Running).unwrap());
            }
            Node::End => writer.end(open.pop().unwrap()).unwrap(),
            Node::Text(text) => writer.text(text).unwrap(),
        }
    }
    writer.finish().unwrap()
}

fuzz_target!(|bytes: &[u8]| {
    if let Some(nodes) = read(bytes) {
        let again = written(&nodes);
        assert_eq!(read(&again[..]), Some(nodes), "{}", String::from_utf8_lossy(&again));
    }
    let Ok(mut archive) = ArchiveReader::new(Cursor::new(bytes)) else { return };
    for (index, _) in archive.names() {
        if let Ok(member) = archive.member(index) {
            let _ = read(BufReader::new(member));
        }
    }
});
