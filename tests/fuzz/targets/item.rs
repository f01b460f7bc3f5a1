//! Any bytes as an item: it is refused, or it is drawn with luck and without, and answered with each of its own choices
//! and texts, without a panic and within the processor's limits.
#![no_main]

use std::collections::BTreeMap;

use exporters::processor::{Play, Response, Session, read_item, references};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(item) = read_item(bytes) else { return };
    let _ = (references::broken(&item), item.unjudged());
    for play in [Play::Drawn("fuzz"), Play::Defaults] {
        let Ok(mut session) = Session::begin(&item, play) else { continue };
        let _ = session.attempt(&BTreeMap::new());
        for text in ["12.40", "-1", "kg"] {
            let interactions = item.body.interactions.iter();
            let given = interactions.map(|one| (one.response.clone(), Response::Text(text.to_owned())));
            let _ = session.attempt(&given.collect());
        }
    }
});
