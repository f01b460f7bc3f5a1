//! In what the versions of the standard differ: names, namespaces, and a few habits of markup.
//!
//! A [`Dialect`] is a constant per version (see [`super::v30`], [`super::v22`], [`super::v21`]); everything that writes takes its spelling from
//! there. Element and attribute names are given in the words of 3.0 without prefix (`text-entry-interaction`).

use crate::xml::Spell;

/// How a version spells the standard's own names. HTML names are the same everywhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spelling {
    /// `qti-text-entry-interaction`, `response-identifier`.
    Kebab,
    /// `textEntryInteraction`, `responseIdentifier`.
    Camel,
}

impl Spelling {
    /// The name of an element of the standard.
    #[must_use]
    pub fn element(self, name: &str) -> String {
        spelled(self.spell_element(), name)
    }

    /// The name of an attribute of the standard.
    #[must_use]
    pub fn attribute(self, name: &str) -> String {
        spelled(self.spell_attribute(), name)
    }

    /// How the names of elements are put down.
    #[must_use]
    pub fn spell_element(self) -> Spell {
        match self {
            Self::Kebab => |name, text| {
                text.push_str("qti-");
                text.push_str(name);
            },
            Self::Camel => camel,
        }
    }

    /// How the names of attributes are put down.
    #[must_use]
    pub fn spell_attribute(self) -> Spell {
        match self {
            Self::Kebab => |name, text| text.push_str(name),
            // ARIA keeps its own spelling everywhere.
            Self::Camel => {
                |name, text| if name.starts_with("aria-") { text.push_str(name) } else { camel(name, text) }
            }
        }
    }
}

fn spelled(spell: Spell, name: &str) -> String {
    let mut text = String::new();
    spell(name, &mut text);
    text
}

fn camel(name: &str, text: &mut String) {
    // Half of all names are one word.
    let Some(first) = name.bytes().position(|byte| byte == b'-') else { return text.push_str(name) };
    text.push_str(&name[..first]);
    let mut begins = false;
    for letter in name[first..].chars() {
        match letter {
            '-' => begins = true,
            letter if std::mem::take(&mut begins) => text.push(letter.to_ascii_uppercase()),
            letter => text.push(letter),
        }
    }
}

/// One version of the standard.
#[derive(Debug, PartialEq, Eq)]
pub struct Dialect {
    /// How names are spelled.
    pub spelling: Spelling,
    /// Namespace of items and tests.
    pub namespace: &'static str,
    /// The attributes that the element at the top begins with: the namespace, and where the published schema lives.
    pub root: [(&'static str, &'static str); 3],
    /// Whether feedback and rubric wrap their content in an element of its own.
    pub content_body: bool,
    /// Whether interactions may carry ARIA attributes.
    pub aria: bool,
    /// Whether an item has an accessibility catalogue, and its content may refer to it.
    pub catalog: bool,
    /// Words of the package's manifest.
    pub package: PackageDialect,
}

/// What differs in a package's manifest.
#[derive(Debug, PartialEq, Eq)]
pub struct PackageDialect {
    /// Namespace of the manifest.
    pub namespace: &'static str,
    /// The namespace, and where the published schema of the manifest lives: `xsi:schemaLocation`.
    pub schema_location: &'static str,
    /// Name of the package format.
    pub schema_name: &'static str,
    /// Version of the package format.
    pub schema_version: &'static str,
    /// Namespace of the standard's own metadata about an item.
    pub metadata_namespace: &'static str,
    /// Whether these metadata say how an item is scored.
    pub scoring_mode: bool,
    /// Namespace of curriculum standards metadata, where the version has any.
    pub curriculum_namespace: Option<&'static str>,
    /// Whether a curriculum statement may carry its address beside its GUID.
    pub case_item_uri: bool,
    /// Resource type of an item.
    pub item_type: &'static str,
    /// Resource type of a test.
    pub test_type: &'static str,
    /// Name of the metadata scheme that the manifest's metadata follow, beside LOMv1.0.
    pub metadata_scheme: &'static str,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spells_the_same_word_as_each_version_does() {
        let name = "text-entry-interaction";
        assert_eq!(Spelling::Kebab.element(name), "qti-text-entry-interaction");
        assert_eq!(Spelling::Camel.element(name), "textEntryInteraction");
        assert_eq!(Spelling::Kebab.attribute("base-type"), "base-type");
        assert_eq!(Spelling::Camel.attribute("base-type"), "baseType");
        assert_eq!(Spelling::Camel.element("sum"), "sum");
        assert_eq!(Spelling::Camel.attribute("aria-label"), "aria-label");
    }
}
