//! A platform that a person registers by hand, at the command line or by a form: what was typed, checked the same way.

use std::fmt;

use url::Url;

use crate::settings::Reach;
use crate::storage::{ClientId, DeploymentId, NewRegistration};

/// Longest identifier of a platform, in bytes (LTI 1.3 core, 3.1.3: a deployment id has at most 255 ASCII characters).
const IDENTIFIER_MAX: usize = 255;

/// What was typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct TypedPlatform {
    /// The platform's name for itself; compared byte for byte.
    pub(crate) issuer: String,
    /// Our name on the platform.
    pub(crate) client_id: String,
    /// Where browsers sign in.
    pub(crate) authorization_url: String,
    /// Where access tokens are given.
    pub(crate) token_url: String,
    /// Where the platform's public keys are.
    pub(crate) keys_url: String,
    /// Deployments that may launch.
    pub(crate) deployments: Vec<String>,
    /// The audience of our token requests, when it is not the token address.
    pub(crate) audience: Option<String>,
}

/// A part of what is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    /// The platform's name for itself.
    Issuer,
    /// Our name on the platform.
    ClientId,
    /// Where browsers sign in.
    AuthorizationUrl,
    /// Where access tokens are given.
    TokenUrl,
    /// Where the platform's public keys are.
    KeysUrl,
    /// A deployment.
    Deployment,
}

impl Part {
    /// The option of the command line.
    pub(crate) fn option(self) -> &'static str {
        match self {
            Self::Issuer => "--issuer",
            Self::ClientId => "--client-id",
            Self::AuthorizationUrl => "--authorization-url",
            Self::TokenUrl => "--token-url",
            Self::KeysUrl => "--keys-url",
            Self::Deployment => "--deployment",
        }
    }
}

/// What is wrong with a part, for the command line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Fault {
    /// Which part.
    pub(crate) part: Part,
    /// The rest of the sentence.
    problem: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.problem)
    }
}

impl std::error::Error for Fault {}

impl TypedPlatform {
    /// The platform, if every part of it can be one.
    ///
    /// # Errors
    /// The first [`Fault`], in the order of the form.
    pub(crate) fn check(self, reach: Reach) -> Result<NewRegistration, Fault> {
        let issuer = address(Part::Issuer, &self.issuer, reach)?;
        if issuer.query().is_some() {
            return Err(fault(Part::Issuer, &self.issuer, "expected an address without query"));
        }
        identifier(Part::ClientId, &self.client_id)?;
        if self.deployments.is_empty() {
            return Err(fault(Part::Deployment, "", "expected at least one"));
        }
        for deployment in &self.deployments {
            identifier(Part::Deployment, deployment)?;
        }
        Ok(NewRegistration {
            authorization_url: address(Part::AuthorizationUrl, &self.authorization_url, reach)?,
            token_url: address(Part::TokenUrl, &self.token_url, reach)?,
            keys_url: address(Part::KeysUrl, &self.keys_url, reach)?,
            // As typed, since it is compared byte for byte.
            issuer: self.issuer,
            client_id: ClientId(self.client_id),
            audience: self.audience,
            deployments: self.deployments.into_iter().map(DeploymentId).collect(),
        })
    }
}

fn address(part: Part, text: &str, reach: Reach) -> Result<Url, Fault> {
    let url: Url = text.parse().map_err(|error| fault(part, text, error))?;
    let checked = reach.check(part.option(), &url);
    checked.map_err(|error| Fault { part, problem: error.to_string() })?;
    Ok(url)
}

fn identifier(part: Part, text: &str) -> Result<(), Fault> {
    let usable = (1..=IDENTIFIER_MAX).contains(&text.len()) && text.is_ascii();
    if usable { Ok(()) } else { Err(fault(part, text, "expected 1 to 255 ASCII characters")) }
}

fn fault(part: Part, text: &str, problem: impl fmt::Display) -> Fault {
    Fault { part, problem: format!("{} {:?}: {problem}", part.option(), crate::shorten(text, 40)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_is_looked_at() {
        let typed = TypedPlatform {
            issuer: "https://p.example.org".into(),
            client_id: "c".into(),
            authorization_url: "https://p.example.org/a".into(),
            token_url: "https://p.example.org/t".into(),
            keys_url: "https://p.example.org/k".into(),
            deployments: vec!["1".into()],
            audience: None,
        };
        assert!(typed.clone().check(Reach::Public).is_ok());
        type Fault = (Part, fn(&mut TypedPlatform));
        let faults: [Fault; 8] = [
            (Part::Issuer, |typed| typed.issuer = "p.example.org".into()),
            (Part::Issuer, |typed| typed.issuer = "https://p.example.org/?x".into()),
            (Part::ClientId, |typed| typed.client_id = String::new()),
            (Part::AuthorizationUrl, |typed| typed.authorization_url = "http://p.example.org/a".into()),
            (Part::TokenUrl, |typed| typed.token_url = "https://127.0.0.1/t".into()),
            (Part::KeysUrl, |typed| typed.keys_url = "https://u:p@p.example.org/k".into()),
            (Part::Deployment, |typed| typed.deployments.clear()),
            (Part::Deployment, |typed| typed.deployments.push("é".into())),
        ];
        for (part, change) in faults {
            let mut typed = typed.clone();
            change(&mut typed);
            let fault = typed.check(Reach::Public).unwrap_err();
            assert_eq!(fault.part, part, "{fault}");
            assert!(fault.to_string().starts_with(part.option()), "{fault}");
        }
    }
}
