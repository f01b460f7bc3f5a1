//! LTI 1.3, tool side: the messages and their rules, apart from HTTP handlers and apart from the store's tables.
//!
//! In reading order: a platform starts a [`login`]; its [`launch`] brings an id_token, which [`token`] checks with the
//! platform's keys ([`platform_keys`]); a teacher's choice goes back by [`deep_linking`]; marks go out by [`grades`]
//! with an access token from [`access_token`], and who is in the course comes in by `roster`. Every reason to refuse is a [`FailedCheck`].
//!
//! [`registration`] comes before all of it. Launches inside frames: `handlers/lti`.

pub mod access_token;
pub mod deep_linking;
mod failed_check;
pub mod grades;
pub mod keys;
pub mod launch;
pub(crate) mod link_header;
pub mod login;
pub(crate) mod outgoing;
pub mod platform_keys;
pub mod registration;
pub(crate) mod roles;
pub(crate) mod roster;
pub mod strict_json;
pub mod token;
pub mod vocabulary;

pub use failed_check::FailedCheck;

use crate::storage::PersonName;

/// The longest identifier the standard allows.
const ID_LENGTH_MAX: usize = 255;
/// How much of a name is kept, in characters.
const NAME_LENGTH_MAX: usize = 120;

/// Whether a text can be an identifier of the standard: 1 to 255 ASCII characters.
pub(crate) fn is_identifier(text: &str) -> bool {
    !text.is_empty() && text.len() <= ID_LENGTH_MAX && text.is_ascii()
}

/// A person's name from the members of a launch or a class list: the full one, else given and family name.
fn person_name<'a>(text: impl Fn(&str) -> Option<&'a str>) -> Option<PersonName> {
    let filled = |name: &str| text(name).map(str::trim).filter(|text| !text.is_empty());
    let parts: Vec<&str> = ["given_name", "family_name"].into_iter().filter_map(filled).collect();
    let name = filled("name").map_or_else(|| parts.join(" "), str::to_owned);
    let name: String = name.chars().filter(|sign| !sign.is_control()).take(NAME_LENGTH_MAX).collect();
    (!name.is_empty()).then_some(PersonName(name))
}
