//! What a request is called: in the log, in its answer's headers and on pages that say that something failed, so that
//! one leads to the other.

use std::fmt;
use std::sync::Arc;

use actix_web::http::header::{HeaderMap, HeaderName, HeaderValue};

use crate::entropy;

/// The header that brings a request's id from the proxy, and gives it back.
pub(crate) const HEADER: HeaderName = HeaderName::from_static("x-request-id");
/// An id that another program makes is no longer.
const LENGTH_MAX: usize = 64;

/// A request's id: letters, digits, hyphens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct RequestId(Arc<str>);

tokio::task_local! {
    static CURRENT: RequestId;
}

impl RequestId {
    /// The id that our proxy has given, else a new one. What others write is not believed: it would stand in the log.
    pub(crate) fn of(headers: &HeaderMap, behind_proxy: bool) -> Self {
        let given = headers.get(HEADER).filter(|_| behind_proxy).and_then(|value| value.to_str().ok());
        match given.filter(|given| is_id(given)) {
            Some(given) => Self(given.into()),
            None => Self(entropy::identifier().into()),
        }
    }

    /// The id of the request that is being answered.
    pub(crate) fn current() -> Option<Self> {
        CURRENT.try_with(Clone::clone).ok()
    }

    /// Answers a request that is called so.
    pub(crate) async fn during<F: Future>(&self, answer: F) -> F::Output {
        CURRENT.scope(self.clone(), answer).await
    }

    /// As a header's value.
    pub(super) fn as_header(&self) -> HeaderValue {
        HeaderValue::from_str(&self.0).expect("letters, digits and hyphens are fit for headers")
    }
}

impl fmt::Display for RequestId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn is_id(text: &str) -> bool {
    (8..=LENGTH_MAX).contains(&text.len())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_the_proxys_if_it_is_one_else_new() {
        let of = |given: &str, behind_proxy| {
            let headers = [(HEADER, given.parse().unwrap())].into_iter().collect();
            RequestId::of(&headers, behind_proxy).0.to_string()
        };
        assert_eq!(of("0af7651916cd43dd8448eb211c80319c", true), "0af7651916cd43dd8448eb211c80319c");
        for (given, behind_proxy) in
            [("0af7651916cd43dd8448eb211c80319c", false), ("short", true), ("a b c d e f g", true)]
        {
            let new = of(given, behind_proxy);
            assert!(new != given && is_id(&new), "{given}: {new}");
        }
    }
}
