//! A posted form as names and values in order, with the session's token checked.

use actix_web::web;

use super::answer::PageError;
use crate::session::Csrf;

/// Largest form that is read, in bytes: a long quiz whose every answer has the greatest length.
pub(crate) const FORM_LENGTH_MAX: usize = 256 * 1024;

/// A form as posted; no name or value is trusted.
pub(crate) type Posted = web::Form<Vec<(String, String)>>;

/// Fields of a form whose token is the session's own.
#[derive(Debug)]
pub(crate) struct Fields(Vec<(String, String)>);

impl Fields {
    /// Takes a posted form that carries the session's token.
    ///
    /// # Errors
    /// [`PageError::Session`] when the token is missing or another's.
    pub(crate) fn checked(posted: Posted, csrf: &Csrf) -> Result<Self, PageError> {
        let fields = Self(posted.into_inner());
        csrf.check(fields.value("csrf"))?;
        Ok(fields)
    }

    /// All fields but the token, to be posted once more.
    pub(crate) fn others(&self) -> impl Iterator<Item = (&str, &str)> {
        let others = self.0.iter().filter(|(name, _)| name != "csrf");
        others.map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The first value of that name, empty when there is none.
    pub(crate) fn value(&self, name: &str) -> &str {
        self.find(name).unwrap_or_default()
    }

    /// The first value of that name, if the form has one.
    pub(crate) fn find(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(field, _)| field == name).map(|(_, value)| value.as_str())
    }
}

/// How forms are read, with an answer in plain words when one cannot be.
pub fn settings() -> web::FormConfig {
    web::FormConfig::default()
        .limit(FORM_LENGTH_MAX)
        .error_handler(|error, _| PageError::Form(format!("the form could not be read: {error}")).into())
}
