//! What our own packages say of where an item comes from: entries in catalogues of the manifest.
//!
//! It is a claim. Whoever has the families can draw the item again and compare ([`super::redraw`]).
use super::manifest::CatalogEntry;
pub(crate) use crate::qti::{DRAW_CATALOG, FAMILY_CATALOG, RECEIPT_CATALOG, SOLUTION_CATALOG};

/// Where an item comes from, as its package says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Claim {
    /// One drawn question.
    Drawn(Drawn),
    /// A template that draws questions of a family itself.
    Template {
        /// The family's name.
        family: String,
        /// Its version.
        version: u32,
        /// Language and region.
        locale: String,
    },
}

/// What a question was drawn from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drawn {
    /// The family's name.
    pub family: String,
    /// Its version.
    pub version: u32,
    /// Which of the seed's questions.
    pub position: u64,
    /// Language and region.
    pub locale: String,
    /// The text that keyed the draw.
    pub seed: String,
    /// The fingerprint of the question's record.
    pub receipt: Option<String>,
}

/// An entry that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the entry of the catalogue '{catalog}' cannot be read; expected {expected}, a blank between each")]
pub struct ClaimError {
    /// The catalogue.
    pub catalog: &'static str,
    /// Its parts.
    pub expected: &'static str,
}

impl Claim {
    /// The claim among an item's entries; `None` if there is none.
    ///
    /// # Errors
    /// [`ClaimError`] for an entry of ours that cannot be read.
    pub fn of(entries: &[CatalogEntry]) -> Result<Option<Self>, ClaimError> {
        let entry = |catalog: &str| {
            entries.iter().find(|entry| entry.catalog == catalog).map(|entry| entry.entry.as_str())
        };
        if let Some(text) = entry(DRAW_CATALOG) {
            let expected = "family, version, position, locale and seed";
            let drawn = drawn(text, entry(RECEIPT_CATALOG));
            return drawn.map(Self::Drawn).ok_or(ClaimError { catalog: DRAW_CATALOG, expected }).map(Some);
        }
        let Some(text) = entry(FAMILY_CATALOG) else { return Ok(None) };
        let expected = "family, version and locale";
        template(text).ok_or(ClaimError { catalog: FAMILY_CATALOG, expected }).map(Some)
    }

    /// The family's name.
    #[must_use]
    pub fn family(&self) -> &str {
        match self {
            Self::Drawn(Drawn { family, .. }) | Self::Template { family, .. } => family,
        }
    }
}

fn drawn(text: &str, receipt: Option<&str>) -> Option<Drawn> {
    let mut parts = text.splitn(5, ' ');
    Some(Drawn {
        family: parts.next()?.to_owned(),
        version: parts.next()?.parse().ok()?,
        position: parts.next()?.parse().ok()?,
        locale: parts.next()?.to_owned(),
        seed: parts.next()?.to_owned(),
        receipt: receipt.map(|receipt| receipt.trim().to_owned()),
    })
}

fn template(text: &str) -> Option<Claim> {
    let mut parts = text.trim().split(' ');
    let (family, version) = (parts.next()?.to_owned(), parts.next()?.parse().ok()?);
    let locale = parts.next().filter(|locale| !locale.is_empty())?.to_owned();
    parts.next().is_none().then_some(Claim::Template { family, version, locale })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(catalog: &str, entry: &str) -> CatalogEntry {
        CatalogEntry { catalog: catalog.into(), entry: entry.into() }
    }

    #[test]
    fn a_seed_may_hold_blanks() {
        let entries = [
            entry("tenths", "q-1"),
            entry("tenths draw", "add-ragged 2 17 en-US the  river day "),
            entry("tenths receipt", "sha256:00"),
        ];
        let Some(Claim::Drawn(drawn)) = Claim::of(&entries).unwrap() else { panic!("it is drawn") };
        assert_eq!((drawn.family.as_str(), drawn.version, drawn.position), ("add-ragged", 2, 17));
        assert_eq!((drawn.locale.as_str(), drawn.seed.as_str()), ("en-US", "the  river day "));
        assert_eq!(drawn.receipt.as_deref(), Some("sha256:00"));
    }

    #[test]
    fn others_make_no_claim_and_broken_ones_are_told() {
        assert_eq!(Claim::of(&[entry("own", "1")]), Ok(None));
        let template = Claim::of(&[entry("tenths family", "add-ragged 2 en-US")]).unwrap().unwrap();
        assert!(matches!(template, Claim::Template { version: 2, .. }));
        for broken in [entry("tenths draw", "add-ragged 2 x en-US s"), entry("tenths family", "add-ragged 2")]
        {
            assert!(Claim::of(&[broken]).unwrap_err().to_string().contains("expected family, version"));
        }
    }
}
