//! Which pages may show ours in a frame: the `frame-ancestors` of an answer's content policy.
//!
//! Whoever knows which platform a request belongs to notes its origins on the request; `server/every_answer.rs` writes
//! them into the policy. Nobody may frame an answer for which nothing was noted. (Content Security Policy Level 3,
//! section 6.4.2, from memory.)

use std::collections::BTreeSet;
use std::sync::Arc;

use actix_web::{HttpMessage, HttpRequest};
use url::{Host, Url};

use crate::storage::PlatformFrames;

/// The origins that may frame the answer to a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct FrameAncestors(Arc<BTreeSet<String>>);

impl FrameAncestors {
    /// Notes on the request that the platform's own pages may frame its answer: those of its issuer, of its authorization
    /// endpoint, those named by `tenths platform frames`, and those of the address that a launch named for returning.
    pub(crate) fn note_frames(request: &HttpRequest, frames: PlatformFrames, return_origin: Option<&str>) {
        let mut origins = frames.origins;
        if let Some(origin) = return_origin.filter(|origin| !origins.contains(*origin)) {
            Arc::make_mut(&mut origins).insert(origin.to_owned());
        }
        request.extensions_mut().insert(Self(origins));
    }

    /// The directive for the answer to a request.
    pub(crate) fn directive(noted: Option<&Self>) -> String {
        match noted {
            Some(Self(origins)) if !origins.is_empty() => {
                let origins: Vec<_> = origins.iter().map(String::as_str).collect();
                format!("frame-ancestors {}", origins.join(" "))
            }
            _ => "frame-ancestors 'none'".to_owned(),
        }
    }
}

/// The origin of an address as a policy can name it. A policy has no form for an IPv6 address.
pub(crate) fn origin(url: &Url) -> Option<String> {
    let nameable = matches!(url.scheme(), "http" | "https") && !matches!(url.host(), Some(Host::Ipv6(_)));
    nameable.then(|| url.origin().ascii_serialization())
}

/// The origin of an address that names nothing but an origin.
pub(crate) fn bare_origin(url: &Url) -> Option<String> {
    origin(url).filter(|_| url.path() == "/" && url.query().is_none())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_origins_that_a_policy_can_name_are_named() {
        let named = |url: &str| origin(&url.parse().unwrap());
        assert_eq!(
            named("https://platform.example.org/a?b;script-src *"),
            Some("https://platform.example.org".into())
        );
        assert_eq!(
            named("https://platform.example.org:8443/"),
            Some("https://platform.example.org:8443".into())
        );
        assert_eq!(named("http://[::1]:9000/"), None);
        assert_eq!(named("data:text/html,x"), None);
        assert_eq!(FrameAncestors::directive(None), "frame-ancestors 'none'");
    }
}
