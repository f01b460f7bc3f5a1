//! How much one address may ask of us: far more than a school behind one address needs, far less than a flood.
//!
//! Two limits. Requests: what comes after is answered 429 without being looked at. Refusals: whoever is refused again and
//! again (invented tokens, forged launches) is answered 429 for a while. Neither keeps anybody from guessing secrets,
//! which have 256 random bits; they keep the service up for the others.
//!
//! A whole school, or a district, may come from one address, so both limits are generous, and the first can be set; the health checks, the numbers
//! and the style sheet are not counted. They hold for one process.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::num::NonZeroU32;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::http::header::{HeaderMap, HeaderValue, RETRY_AFTER};
use actix_web::middleware::Next;
use actix_web::{Error, web};
use governor::clock::DefaultClock;
use governor::state::keyed::DashMapStateStore;
use governor::{Quota, RateLimiter};

use crate::app::App;
use crate::pages::refusal::RefusalPage;

/// A class comes at once: for so many seconds' worth of requests there is no waiting.
const AT_ONCE_S: u32 = 20;
/// Refused requests of one address: per second in the long run, and at once.
const REFUSALS: (NonZeroU32, NonZeroU32) = (nonzero(10), nonzero(1_000));
/// How long somebody is kept out who was refused too often.
const KEPT_OUT: Duration = Duration::from_secs(60);
/// So many addresses kept out are remembered; more at once are not one attacker, and forgetting them costs little.
const KEPT_OUT_MOST: usize = 10_000;

const fn nonzero(number: u32) -> NonZeroU32 {
    NonZeroU32::new(number).expect("limits are not zero")
}

type Limiter = RateLimiter<IpAddr, DashMapStateStore<IpAddr>, DefaultClock>;

/// What each address has asked of us lately.
pub struct Limits {
    /// None where any number is taken.
    requests: Option<Limiter>,
    refusals: Limiter,
    kept_out: Mutex<HashMap<IpAddr, Instant>>,
}

/// Which limit was reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Limit {
    /// Too many requests.
    Requests,
    /// Too many refused ones.
    Refusals,
}

impl Limit {
    /// Its name among the numbers of the service.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Requests => "requests",
            Self::Refusals => "refusals",
        }
    }
}

impl Limits {
    /// Limits for so many requests a second, or any number, of one address.
    pub(crate) fn new(requests_per_second: Option<NonZeroU32>) -> Self {
        let requests = requests_per_second.map(|number| (number, number.saturating_mul(nonzero(AT_ONCE_S))));
        Self::of(requests, REFUSALS)
    }

    fn of(requests: Option<(NonZeroU32, NonZeroU32)>, refusals: (NonZeroU32, NonZeroU32)) -> Self {
        let limiter =
            |(per_second, at_once)| RateLimiter::dashmap(Quota::per_second(per_second).allow_burst(at_once));
        Self { requests: requests.map(limiter), refusals: limiter(refusals), kept_out: Mutex::default() }
    }

    /// Counts a request; the limit that it meets, if any.
    fn ask(&self, address: IpAddr, now: Instant) -> Option<Limit> {
        let kept_out = self.kept_out.lock().unwrap_or_else(PoisonError::into_inner);
        if kept_out.get(&address).is_some_and(|until| now < *until) {
            return Some(Limit::Refusals);
        }
        drop(kept_out);
        let requests = self.requests.as_ref()?;
        requests.check_key(&address).is_err().then_some(Limit::Requests)
    }

    /// Counts a refusal.
    fn refused(&self, address: IpAddr, now: Instant) {
        if self.refusals.check_key(&address).is_ok() {
            return;
        }
        let mut kept_out = self.kept_out.lock().unwrap_or_else(PoisonError::into_inner);
        if kept_out.len() >= KEPT_OUT_MOST {
            kept_out.retain(|_, until| now < *until);
        }
        if kept_out.len() < KEPT_OUT_MOST {
            kept_out.insert(address, now + KEPT_OUT);
        }
    }

    /// Forgets addresses that have been quiet.
    pub(super) fn forget_quiet(&self) {
        if let Some(requests) = &self.requests {
            requests.retain_recent();
        }
        self.refusals.retain_recent();
        let now = Instant::now();
        self.kept_out.lock().unwrap_or_else(PoisonError::into_inner).retain(|_, until| now < *until);
    }
}

/// Keeps floods away from the handlers.
pub(super) async fn keep<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B>>, Error> {
    let app = request.app_data::<web::Data<App>>().expect("routes always carry the App").clone();
    let address =
        address(request.peer_addr().map(|peer| peer.ip()), request.headers(), app.settings.behind_proxy);
    let Some(address) = address.filter(|_| is_counted(request.path())) else {
        return Ok(next.call(request).await?.map_into_left_body());
    };
    if let Some(limit) = app.limits.ask(address, Instant::now()) {
        app.metrics.limited(limit);
        let page = RefusalPage::of("too_many_requests");
        let mut response = page.into_response(StatusCode::TOO_MANY_REQUESTS);
        response.headers_mut().insert(RETRY_AFTER, HeaderValue::from_static("60"));
        return Ok(request.into_response(response).map_into_right_body());
    }
    let response = next.call(request).await?;
    if matches!(response.status().as_u16(), 400 | 401 | 403) {
        app.limits.refused(address, Instant::now());
    }
    Ok(response.map_into_left_body())
}

/// Health checks and numbers are asked for all the time by those who run the service; the style sheet by every page.
fn is_counted(path: &str) -> bool {
    !(path.starts_with("/health/") || path == "/metrics" || path.starts_with("/static/"))
}

/// Who asks: the connection's other end, or behind a proxy of ours the last address that it added. None for this machine
/// itself: that is a test, or a proxy that nobody told us of and behind which everybody would share one limit.
fn address(peer: Option<IpAddr>, headers: &HeaderMap, behind_proxy: bool) -> Option<IpAddr> {
    let forwarded = || {
        let last = headers.get_all("x-forwarded-for").last()?.to_str().ok()?.rsplit(',').next()?;
        last.trim().parse::<IpAddr>().ok()
    };
    let address = if behind_proxy { forwarded().or(peer) } else { peer };
    address.map(whole_network).filter(|address| !address.is_loopback())
}

/// One subscriber has at least 2^64 addresses of IPv6; they count as one.
fn whole_network(address: IpAddr) -> IpAddr {
    match address {
        IpAddr::V6(v6) => match v6.to_ipv4_mapped() {
            Some(v4) => v4.into(),
            None if v6.is_loopback() => address,
            None => Ipv6Addr::from(u128::from(v6) & !u128::from(u64::MAX)).into(),
        },
        IpAddr::V4(_) => address,
    }
}

#[cfg(test)]
mod tests {
    use actix_web::http::header::HeaderName;

    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn requests_beyond_the_limit_are_kept_away_and_other_addresses_are_not() {
        let limits = Limits::of(Some((nonzero(1), nonzero(3))), REFUSALS);
        let now = Instant::now();
        let asked: Vec<_> = (0..4).map(|_| limits.ask(ip("192.0.2.1"), now)).collect();
        assert_eq!(asked, [None, None, None, Some(Limit::Requests)]);
        assert_eq!(limits.ask(ip("192.0.2.2"), now), None);
    }

    #[test]
    fn whoever_is_refused_too_often_is_kept_out_for_a_minute() {
        let limits = Limits::of(None, (nonzero(1), nonzero(2)));
        let now = Instant::now();
        for _ in 0..2 {
            limits.refused(ip("192.0.2.1"), now);
            assert_eq!(limits.ask(ip("192.0.2.1"), now), None);
        }
        limits.refused(ip("192.0.2.1"), now);
        assert_eq!(limits.ask(ip("192.0.2.1"), now), Some(Limit::Refusals));
        assert_eq!(limits.ask(ip("192.0.2.2"), now), None);
        assert_eq!(limits.ask(ip("192.0.2.1"), now + KEPT_OUT), None);
    }

    #[test]
    fn a_forwarded_address_counts_only_behind_a_proxy_and_only_the_last_one() {
        let mut headers = HeaderMap::new();
        let name = HeaderName::from_static("x-forwarded-for");
        headers.append(name.clone(), "203.0.113.9, 198.51.100.7".parse().unwrap());
        let peer = Some(ip("10.0.0.1"));
        assert_eq!(address(peer, &headers, false), peer);
        assert_eq!(address(peer, &headers, true), Some(ip("198.51.100.7")));
        headers.append(name, "198.51.100.8".parse().unwrap());
        assert_eq!(address(peer, &headers, true), Some(ip("198.51.100.8")));
        assert_eq!(address(peer, &HeaderMap::new(), true), peer);
        for this_machine in ["127.0.0.1", "::1"] {
            assert_eq!(address(Some(ip(this_machine)), &HeaderMap::new(), false), None, "{this_machine}");
        }
    }

    #[test]
    fn addresses_of_one_ipv6_network_are_one() {
        assert_eq!(whole_network(ip("2001:db8::1:2:3:4")), whole_network(ip("2001:db8::5")));
        assert_ne!(whole_network(ip("2001:db8:0:1::1")), whole_network(ip("2001:db8:0:2::1")));
        assert_eq!(whole_network(ip("::ffff:192.0.2.1")), ip("192.0.2.1"));
    }

    #[test]
    fn health_checks_are_not_counted() {
        assert!(!is_counted("/health/ready") && !is_counted("/metrics") && !is_counted("/static/tenths.css"));
        assert!(is_counted("/lti/launch") && is_counted("/api/v1/pools"));
    }
}
