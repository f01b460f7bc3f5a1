//! Any bytes as a question bank or quiz of a cartridge: refused with a line, or read; the items that were read are written
//! and read back as the same, and whatever they list is played.
#![no_main]

use exporters::cartridge::{
    reading::{CartridgeReadError, read_document},
    write::write_bank,
};
use exporters::xml::reading::XmlFault;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(document) = read_document(bytes) else { return };
    for item in &document.items {
        drop(item.play(&[]));
        item.right().for_each(|text| drop(item.play(&[text])));
    }
    let mut again = Vec::new();
    write_bank(&mut again, &document.identifier, &document.items).unwrap();
    match read_document(&again[..]) {
        Ok(read) => assert_eq!(read.items, document.items, "{}", String::from_utf8_lossy(&again)),
        // What stood side by side stands one level deeper.
        Err(CartridgeReadError::Xml(error)) if matches!(error.fault, XmlFault::TooDeep) => {}
        Err(error) => panic!("{error}: {}", String::from_utf8_lossy(&again)),
    }
});
