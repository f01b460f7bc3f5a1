//! JSON of the records that are written by the million, as serde writes it, to the byte.
//!
//! It takes a third of serde's time: a text is looked over as a whole for what JSON escapes, which hardly any has.
use alloc::string::String;

use serde::Serialize;

/// A further field with a text.
pub(crate) fn named(out: &mut String, name: &str, value: &str) {
    out.push_str(",\"");
    out.push_str(name);
    out.push_str("\":");
    text(out, value);
}

/// A further field with a number.
pub(crate) fn number(out: &mut String, name: &str, value: u64) {
    out.push_str(",\"");
    out.push_str(name);
    out.push_str("\":");
    if let Ok(digit @ 0..=9) = u8::try_from(value) {
        out.push(char::from(b'0' + digit));
    } else {
        by_serde(out, &value);
    }
}

/// A list.
pub(crate) fn list<T>(out: &mut String, all: &[T], one: impl Fn(&mut String, &T)) {
    out.push('[');
    for (index, each) in all.iter().enumerate() {
        if index > 0 {
            out.push(',');
        }
        one(out, each);
    }
    out.push(']');
}

/// A text in quotes.
pub(crate) fn text(out: &mut String, text: &str) {
    // Without a way out of the loop, so that many bytes are looked at in one step.
    let escaped = |byte: u8| byte < b' ' || byte == b'"' || byte == b'\\';
    if text.bytes().fold(false, |any, byte| any | escaped(byte)) {
        by_serde(out, text);
    } else {
        plain(out, text);
    }
}

/// A text in quotes that has nothing in it which JSON escapes, as names of ours.
pub(crate) fn plain(out: &mut String, text: &str) {
    out.push('"');
    out.push_str(text);
    out.push('"');
}

/// Anything else.
pub(crate) fn by_serde<T: Serialize + ?Sized>(out: &mut String, value: &T) {
    out.push_str(&serde_json::to_string(value).expect("records of this crate have text keys only"));
}
