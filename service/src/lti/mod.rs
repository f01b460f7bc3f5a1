//! LTI 1.3, tool side: the messages and their rules, apart from HTTP handlers and apart from the store's tables.
//!
//! In reading order: a platform starts a [`login`]; its [`launch`] brings an id_token, which [`token`] checks with the
//! platform's keys ([`platform_keys`]); a teacher's choice goes back by [`deep_linking`]; marks go out by [`grades`]
//! with an access token from [`access_token`]. Every reason to refuse is a [`FailedCheck`].
//!
//! [`registration`] comes before all of it.
//!
//! Not here: rosters, storage by window messages.

pub mod access_token;
pub mod deep_linking;
mod failed_check;
pub mod grades;
pub mod keys;
pub mod launch;
pub mod login;
pub(crate) mod outgoing;
pub mod platform_keys;
pub mod registration;
pub mod strict_json;
pub mod token;
pub mod vocabulary;

pub use failed_check::FailedCheck;
