//! Calls to platforms: short time, small answers, no redirects, no private addresses.

use std::net::{SocketAddr, ToSocketAddrs};
use std::sync::Arc;
use std::time::Duration;

use reqwest::dns::{Addrs, Name, Resolve, Resolving};
use reqwest::{Client, RequestBuilder, Response, StatusCode};
use tracing::{Instrument as _, Span};
use url::Url;

use crate::settings::{Reach, is_public_address};
use crate::traces;

/// How long a call may take altogether.
const TIMEOUT: Duration = Duration::from_secs(10);
/// The largest answer that is read, in bytes.
const ANSWER_SIZE_MAX: usize = 512 * 1024;

/// A client for calls to platforms within `reach`.
pub(crate) fn client(reach: Reach) -> Client {
    Client::builder()
        .timeout(TIMEOUT)
        .connect_timeout(Duration::from_secs(5))
        .redirect(reqwest::redirect::Policy::none())
        .dns_resolver(Arc::new(GuardedResolver(reach)))
        .no_proxy()
        .https_only(reach == Reach::Public)
        .user_agent(concat!("tenths/", env!("CARGO_PKG_VERSION")))
        .build()
        .expect("the built-in TLS set-up is always there")
}

/// Resolves names to addresses within reach only, so that a public name cannot lead into a private network.
struct GuardedResolver(Reach);

impl Resolve for GuardedResolver {
    fn resolve(&self, name: Name) -> Resolving {
        let reach = self.0;
        Box::pin(async move {
            let host = name.as_str().to_owned();
            let found = tokio::task::spawn_blocking(move || (host.as_str(), 0).to_socket_addrs()).await??;
            let allowed: Vec<SocketAddr> = found.filter(|address| may_connect(*address, reach)).collect();
            if allowed.is_empty() {
                return Err("the name has no address that may be used".into());
            }
            Ok(Box::new(allowed.into_iter()) as Addrs)
        })
    }
}

fn may_connect(address: SocketAddr, reach: Reach) -> bool {
    let ip = address.ip();
    is_public_address(ip) || (reach == Reach::PublicAndLoopback && ip.is_loopback())
}

/// An answer, read in full.
#[derive(Debug)]
pub(crate) struct Answer {
    /// The status.
    pub(crate) status: StatusCode,
    /// The headers.
    pub(crate) headers: reqwest::header::HeaderMap,
    /// The content.
    pub(crate) body: Vec<u8>,
}

/// Why there is no answer; holds no address and no token, so it can be shown and logged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub(crate) enum CallError {
    #[error("the address may not be called")]
    Address,
    #[error("the platform took too long to answer")]
    Timeout,
    #[error("the platform could not be reached")]
    Connect,
    #[error("the platform broke off its answer")]
    Broken,
    #[error("the platform's answer is too large")]
    TooLarge,
}

/// Sends a request to `url` after checking that it is within reach.
pub(crate) async fn send(reach: Reach, url: &Url, request: RequestBuilder) -> Result<Answer, CallError> {
    reach.check("address", url).map_err(|_| CallError::Address)?;
    let span = traces::call(url.host_str().unwrap_or_default());
    let request = traces::onward(request, &span);
    async {
        let response = request.send().await.map_err(|error| call_error(&error))?;
        Span::current().record("http.response.status_code", i64::from(response.status().as_u16()));
        read(response).await
    }
    .instrument(span)
    .await
}

async fn read(mut response: Response) -> Result<Answer, CallError> {
    let (status, headers) = (response.status(), response.headers().clone());
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await.map_err(|error| call_error(&error))? {
        if body.len() + chunk.len() > ANSWER_SIZE_MAX {
            return Err(CallError::TooLarge);
        }
        body.extend_from_slice(&chunk);
    }
    Ok(Answer { status, headers, body })
}

fn call_error(error: &reqwest::Error) -> CallError {
    if error.is_timeout() {
        CallError::Timeout
    } else if error.is_connect() {
        CallError::Connect
    } else {
        CallError::Broken
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn connects_to_public_addresses_and_to_allowed_loopback_only() {
        let address = |text: &str| text.parse().unwrap();
        assert!(may_connect(address("93.184.216.34:443"), Reach::Public));
        assert!(!may_connect(address("127.0.0.1:443"), Reach::Public));
        assert!(may_connect(address("127.0.0.1:443"), Reach::PublicAndLoopback));
        assert!(!may_connect(address("192.168.0.4:443"), Reach::PublicAndLoopback));
        assert!(!may_connect(address("169.254.169.254:80"), Reach::PublicAndLoopback));
    }
}
