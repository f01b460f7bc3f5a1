//! Reading claims by type. A claim that is there with another type fails; `null` counts as another type.

use serde_json::{Map, Value};

use crate::lti::{FailedCheck, vocabulary as v};

/// Claims of a verified token, or the members of one of them.
#[derive(Clone, Copy)]
pub(super) struct Claims<'a>(pub(super) &'a Map<String, Value>);

impl<'a> Claims<'a> {
    pub(super) fn text(self, name: &str) -> Result<Option<&'a str>, FailedCheck> {
        match self.0.get(name) {
            None => Ok(None),
            Some(Value::String(text)) => Ok(Some(text)),
            Some(_) => Err(FailedCheck::ClaimType),
        }
    }

    pub(super) fn texts(self, name: &str) -> Result<Option<Vec<&'a str>>, FailedCheck> {
        match self.0.get(name) {
            None => Ok(None),
            Some(Value::Array(list)) => list
                .iter()
                .map(|one| one.as_str().ok_or(FailedCheck::ClaimType))
                .collect::<Result<_, _>>()
                .map(Some),
            Some(_) => Err(FailedCheck::ClaimType),
        }
    }

    pub(super) fn object(self, name: &str) -> Result<Option<Claims<'a>>, FailedCheck> {
        match self.0.get(name) {
            None => Ok(None),
            Some(Value::Object(members)) => Ok(Some(Claims(members))),
            Some(_) => Err(FailedCheck::ClaimType),
        }
    }

    /// A time in seconds since 1970, perhaps with a fraction, as milliseconds.
    pub(super) fn time_ms(self, name: &str) -> Result<Option<i64>, FailedCheck> {
        let Some(value) = self.0.get(name) else { return Ok(None) };
        let Value::Number(seconds) = value else { return Err(FailedCheck::ClaimType) };
        let ms = match (seconds.as_i64(), seconds.as_f64()) {
            (Some(whole), _) => whole.saturating_mul(1000),
            // The cast saturates, and a time needs no more than milliseconds.
            (None, Some(fraction)) => (fraction * 1000.0) as i64,
            (None, None) => return Err(FailedCheck::ClaimType),
        };
        if ms < 0 { Err(FailedCheck::ClaimType) } else { Ok(Some(ms)) }
    }

    /// Optional claims that we do not use must still have the standard's types: a platform that mixes them up has
    /// probably mixed up more.
    pub(super) fn check_optional_types(self) -> Result<(), FailedCheck> {
        for name in [
            v::RESOURCE_LINK,
            v::CONTEXT,
            v::GRADE_ENDPOINT,
            v::ROSTER_SERVICE,
            v::DEEP_LINKING_SETTINGS,
            v::TOOL_PLATFORM,
            v::LAUNCH_PRESENTATION,
            v::LIS,
        ] {
            self.object(name)?;
        }
        self.texts(v::ROLE_SCOPE_MENTOR)?;
        if let Some(custom) = self.object(v::CUSTOM)? {
            for name in custom.0.keys() {
                custom.text(name)?;
            }
        }
        for name in ["name", "given_name", "family_name", "middle_name", "email", "locale", "picture"] {
            self.text(name)?;
        }
        Ok(())
    }
}
