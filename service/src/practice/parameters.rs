//! Query strings and form bodies as parameters of which none may come twice: a repeated one could be read
//! differently by the two sides.

use std::collections::BTreeMap;

use url::form_urlencoded;

/// Parameters by name, each once.
#[derive(Debug, Default)]
pub(super) struct Parameters(BTreeMap<String, String>);

/// A parameter came twice.
#[derive(Debug, thiserror::Error)]
#[error("parameter `{0}` comes more than once")]
pub(super) struct Repeated(String);

impl Parameters {
    /// Reads `name=value&…` as found in query strings and form bodies.
    pub(super) fn parse(text: &[u8]) -> Result<Parameters, Repeated> {
        let mut parameters = BTreeMap::new();
        for (name, value) in form_urlencoded::parse(text) {
            if parameters.insert(name.to_string(), value.into_owned()).is_some() {
                return Err(Repeated(name.into_owned()));
            }
        }
        Ok(Parameters(parameters))
    }

    pub(super) fn find(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(String::as_str)
    }
}
