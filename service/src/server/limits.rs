//! How much one address may ask of us: far more than a school behind one address needs, far less than a flood.
//!
//! Two limits. Requests: what comes after is answered 429 without being looked at. Refusals: whoever is refused again and
//! again (invented tokens, forged launches) is answered 429 for a while. Neither keeps anybody from guessing secrets,
//! which have 256 random bits; they keep the service up for the others.
//!
//! A whole school, or a district, may come from one address, so both limits are generous, and the first can be set; the
//! health checks, the numbers and the style sheet are not counted.
//!
//! The limits hold over all processes of a service without a step of the store for each request. Time is cut into spans;
//! each process counts what it lets through, adds that once a second to the store and reads what all have let through in
//! the same span ([`Limits::exchange`]). So of one address and span all processes together let through at most the limit,
//! and what comes within the second until they hear of each other. A process that cannot reach the store counts alone
//! and tells later. The store sees a keyed hash in place of the address, and forgets it after the span.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::num::NonZeroU32;
use std::sync::{Mutex, MutexGuard, PoisonError};

use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::http::header::{HeaderMap, HeaderValue, RETRY_AFTER};
use actix_web::middleware::Next;
use actix_web::{Error, web};
use jiff::Timestamp;

use crate::app::App;
use crate::clock::{plus_ms, whole_milliseconds};
use crate::pages::refusal::RefusalPage;
use crate::seal::SealKey;
use crate::storage::{RequestCount, Storage, StorageError};

/// One span of the limit of requests. A class comes at once: within it there is no waiting.
const REQUESTS_SPAN_MS: i64 = 20 * 1000;
/// Refused requests of one address within a span, and how long that is.
const REFUSALS: Rule = Rule { most: 1_000, span_ms: 100 * 1000 };
/// How long somebody is kept out who was refused too often.
const KEPT_OUT_MS: i64 = 60 * 1000;
/// So many addresses are remembered; more at once are not one attacker, and letting them through costs little.
const ADDRESSES_MOST: usize = 100_000;

/// Which limit was reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
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

/// At most so many in a span of time. Spans begin at whole multiples of their length since 1970, in all processes alike.
#[derive(Debug, Clone, Copy)]
struct Rule {
    most: u64,
    span_ms: i64,
}

impl Rule {
    fn began_at(self, now: Timestamp) -> Timestamp {
        let now = now.as_millisecond();
        whole_milliseconds(now - now.rem_euclid(self.span_ms))
    }
}

/// What one address did in the present span.
#[derive(Debug, Clone, Copy)]
struct Seen {
    began_at: Timestamp,
    /// What all processes had counted when they were asked last, of ours what was told them.
    told: u64,
    /// What we counted since.
    untold: u64,
}

/// What each address has asked of us lately.
pub struct Limits {
    /// None where any number is taken.
    requests: Option<Rule>,
    refusals: Rule,
    /// Makes hashes of addresses.
    key: SealKey,
    seen: Mutex<HashMap<(Limit, IpAddr), Seen>>,
    kept_out: Mutex<HashMap<IpAddr, Timestamp>>,
}

impl Limits {
    /// Limits for so many requests a second, or any number, of one address. Processes with the same `key` count together.
    pub(crate) fn new(requests_per_second: Option<NonZeroU32>, key: SealKey) -> Self {
        let of_a_span = |number: NonZeroU32| Rule {
            most: u64::from(number.get()) * REQUESTS_SPAN_MS.unsigned_abs() / 1000,
            span_ms: REQUESTS_SPAN_MS,
        };
        Self::of(requests_per_second.map(of_a_span), REFUSALS, key)
    }

    fn of(requests: Option<Rule>, refusals: Rule, key: SealKey) -> Self {
        Self { requests, refusals, key, seen: Mutex::default(), kept_out: Mutex::default() }
    }

    /// Counts a request; the limit that it meets, if any, and how many seconds it holds yet.
    fn ask(&self, address: IpAddr, now: Timestamp) -> Option<(Limit, i64)> {
        let seconds_until = |end: Timestamp| (end.as_millisecond() - now.as_millisecond() + 999) / 1000;
        if let Some(until) = self.kept_out().get(&address).copied().filter(|until| now < *until) {
            return Some((Limit::Refusals, seconds_until(until)));
        }
        let rule = self.requests?;
        let room = self.count(Limit::Requests, rule, address, now);
        let end = plus_ms(rule.began_at(now), rule.span_ms);
        (!room).then(|| (Limit::Requests, seconds_until(end)))
    }

    /// Counts a refusal.
    fn refused(&self, address: IpAddr, now: Timestamp) {
        if !self.count(Limit::Refusals, self.refusals, address, now) {
            self.keep_out(address, now);
        }
    }

    /// Counts one more, if there is room in its span.
    fn count(&self, limit: Limit, rule: Rule, address: IpAddr, now: Timestamp) -> bool {
        let fresh = Seen { began_at: rule.began_at(now), told: 0, untold: 0 };
        let mut all = self.seen();
        if all.len() >= ADDRESSES_MOST && !all.contains_key(&(limit, address)) {
            return true;
        }
        let seen = all.entry((limit, address)).or_insert(fresh);
        if seen.began_at != fresh.began_at {
            *seen = fresh;
        }
        let room = seen.told + seen.untold < rule.most;
        seen.untold += u64::from(room);
        room
    }

    fn keep_out(&self, address: IpAddr, now: Timestamp) {
        let mut kept_out = self.kept_out();
        if kept_out.len() < ADDRESSES_MOST {
            kept_out.insert(address, plus_ms(now, KEPT_OUT_MS));
        }
    }

    /// Tells the store what was counted since the last time, and hears what all processes have counted. Forgets addresses
    /// that have been quiet.
    ///
    /// # Errors
    /// When the store fails; what it was not told it is told the next time.
    pub(super) async fn exchange(&self, storage: &dyn Storage, now: Timestamp) -> Result<(), StorageError> {
        self.kept_out().retain(|_, until| now < *until);
        let untold = self.take_untold(now);
        if untold.is_empty() {
            return Ok(());
        }
        let counts = untold.values().map(|(_, count)| count.clone()).collect();
        match storage.count_requests(counts).await {
            Ok(totals) => {
                for total in totals {
                    if let Some((of, _)) = untold.get(&total.sender) {
                        self.heard(*of, &total, now);
                    }
                }
                Ok(())
            }
            Err(error) => {
                for (of, count) in untold.values() {
                    self.give_back(*of, count);
                }
                Err(error)
            }
        }
    }

    /// What is to be told, by the hash of its sender. Until the answer comes it counts as told.
    fn take_untold(&self, now: Timestamp) -> HashMap<String, ((Limit, IpAddr), RequestCount)> {
        let mut all = self.seen();
        all.retain(|(limit, _), seen| {
            let rule = self.rule(*limit);
            seen.began_at == rule.began_at(now)
        });
        let mut untold = HashMap::new();
        for (of, seen) in all.iter_mut().filter(|(_, seen)| seen.untold > 0) {
            let sender = self.key.keyed_hash(of.0.name(), &of.1.to_string());
            let number = std::mem::take(&mut seen.untold);
            seen.told += number;
            let count = RequestCount { sender: sender.clone(), began_at: seen.began_at, number };
            untold.insert(sender, (*of, count));
        }
        untold
    }

    fn heard(&self, of: (Limit, IpAddr), total: &RequestCount, now: Timestamp) {
        let is_full = total.number >= self.rule(of.0).most;
        if let Some(seen) = self.seen().get_mut(&of).filter(|seen| seen.began_at == total.began_at) {
            seen.told = total.number;
        }
        if is_full && of.0 == Limit::Refusals {
            self.keep_out(of.1, now);
        }
    }

    fn give_back(&self, of: (Limit, IpAddr), count: &RequestCount) {
        if let Some(seen) = self.seen().get_mut(&of).filter(|seen| seen.began_at == count.began_at) {
            seen.told -= count.number;
            seen.untold += count.number;
        }
    }

    fn rule(&self, limit: Limit) -> Rule {
        match limit {
            Limit::Requests => self.requests.unwrap_or(self.refusals),
            Limit::Refusals => self.refusals,
        }
    }

    /// Until when the store needs to remember: spans that began before are over everywhere.
    pub(super) fn over_before(now: Timestamp) -> Timestamp {
        plus_ms(now, -2 * REFUSALS.span_ms)
    }

    fn seen(&self) -> MutexGuard<'_, HashMap<(Limit, IpAddr), Seen>> {
        // A panic elsewhere leaves the numbers whole: each is changed in one step.
        self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn kept_out(&self) -> MutexGuard<'_, HashMap<IpAddr, Timestamp>> {
        self.kept_out.lock().unwrap_or_else(PoisonError::into_inner)
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
    if let Some((limit, seconds)) = app.limits.ask(address, app.clock.now()) {
        app.metrics.limited(limit.name());
        let page = RefusalPage::of("too_many_requests");
        let mut response = page.into_response(StatusCode::TOO_MANY_REQUESTS);
        response.headers_mut().insert(RETRY_AFTER, HeaderValue::from(seconds.max(1)));
        return Ok(request.into_response(response).map_into_right_body());
    }
    let response = next.call(request).await?;
    if matches!(response.status().as_u16(), 400 | 401 | 403) {
        app.limits.refused(address, app.clock.now());
    }
    Ok(response.map_into_left_body())
}

/// Health checks and numbers are asked for all the time by those who run the service; the style sheet by every page.
pub(super) fn is_counted(path: &str) -> bool {
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

    const SPAN_MS: i64 = 20_000;

    fn rule(most: u64) -> Rule {
        Rule { most, span_ms: SPAN_MS }
    }

    fn monday() -> Timestamp {
        "2026-03-02T08:05:00Z".parse().unwrap()
    }

    fn at(ms: i64) -> Timestamp {
        plus_ms(monday(), ms)
    }

    fn met(limits: &Limits, address: &str, now: Timestamp) -> Option<Limit> {
        limits.ask(ip(address), now).map(|(limit, _)| limit)
    }

    #[test]
    fn requests_beyond_the_limit_are_kept_away_and_other_addresses_are_not() {
        let limits = Limits::of(Some(rule(3)), REFUSALS, SealKey::random());
        let asked: Vec<_> = (0..4).map(|_| limits.ask(ip("192.0.2.1"), at(5_000))).collect();
        assert_eq!(asked, [None, None, None, Some((Limit::Requests, 15))]);
        assert_eq!(met(&limits, "192.0.2.2", at(5_000)), None);
        assert_eq!(met(&limits, "192.0.2.1", at(SPAN_MS - 1)), Some(Limit::Requests));
        assert_eq!(met(&limits, "192.0.2.1", at(SPAN_MS)), None, "a new span");
        assert_eq!(met(&limits, "192.0.2.1", at(-1)), None, "a clock that is set back keeps nobody out");
    }

    #[test]
    fn whoever_is_refused_too_often_is_kept_out_for_a_minute() {
        let limits = Limits::of(None, rule(2), SealKey::random());
        for _ in 0..2 {
            limits.refused(ip("192.0.2.1"), monday());
            assert_eq!(met(&limits, "192.0.2.1", monday()), None);
        }
        limits.refused(ip("192.0.2.1"), monday());
        assert_eq!(limits.ask(ip("192.0.2.1"), at(1)), Some((Limit::Refusals, 60)));
        assert_eq!(met(&limits, "192.0.2.2", monday()), None);
        assert_eq!(met(&limits, "192.0.2.1", at(KEPT_OUT_MS)), None);
    }

    /// Lets as many through as there is room for; how many that were.
    fn flood(limits: &Limits, address: &str, now: Timestamp, asked: usize) -> usize {
        (0..asked).filter(|_| met(limits, address, now).is_none()).count()
    }

    #[actix_web::test]
    async fn processes_together_let_through_the_limit_and_a_second_of_it() {
        let storage = crate::storage::open("sqlite::memory:").unwrap();
        let key = SealKey::random();
        let both = [(), ()].map(|()| Limits::of(Some(rule(100)), REFUSALS, key.clone()));
        let mut through = 0;
        // 12 requests a second at each of two processes, far more than 100 in 20 seconds.
        let each_second = 12;
        for second in 0..20 {
            for limits in &both {
                through += flood(limits, "192.0.2.1", at(second * 1000), each_second);
                assert_eq!(flood(limits, "192.0.2.2", at(second * 1000), 1), 1);
            }
            for limits in &both {
                limits.exchange(storage.as_ref(), at(second * 1000)).await.unwrap();
            }
        }
        assert!((100..=100 + each_second).contains(&through), "{through}");
        assert!(both.iter().all(|limits| met(limits, "192.0.2.1", at(19_999)) == Some(Limit::Requests)));
        // A process that begins in the middle of a span lets at most a second through.
        let new = Limits::of(Some(rule(100)), REFUSALS, key.clone());
        assert_eq!(flood(&new, "192.0.2.1", at(19_000), each_second), each_second);
        new.exchange(storage.as_ref(), at(19_000)).await.unwrap();
        assert_eq!(flood(&new, "192.0.2.1", at(19_500), each_second), 0);
        assert_eq!(flood(&new, "192.0.2.1", at(20_000), each_second), each_second);
        assert_eq!(storage.forget_request_counts(Limits::over_before(at(SPAN_MS))).await.unwrap(), 0);
        let later = Limits::over_before(at(220_001));
        assert_eq!(storage.forget_request_counts(later).await.unwrap(), 2, "both addresses, one span");
    }

    #[actix_web::test]
    async fn whoever_is_refused_here_and_there_is_kept_out_everywhere() {
        let storage = crate::storage::open("sqlite::memory:").unwrap();
        let key = SealKey::random();
        let both = [(), ()].map(|()| Limits::of(None, rule(10), key.clone()));
        for limits in &both {
            (0..6).for_each(|_| limits.refused(ip("192.0.2.1"), monday()));
        }
        for limits in [&both[0], &both[1], &both[0]] {
            limits.exchange(storage.as_ref(), monday()).await.unwrap();
        }
        assert_eq!(met(&both[1], "192.0.2.1", at(1)), Some(Limit::Refusals));
        // The first has nothing new to tell, so it hears of it with the next refusal.
        both[0].refused(ip("192.0.2.1"), at(2));
        both[0].exchange(storage.as_ref(), at(1_000)).await.unwrap();
        assert_eq!(met(&both[0], "192.0.2.1", at(1_001)), Some(Limit::Refusals));
    }

    #[actix_web::test]
    async fn what_the_store_could_not_be_told_is_told_later() {
        let storage = crate::storage::open("sqlite::memory:").unwrap();
        let limits = Limits::of(Some(rule(10)), REFUSALS, SealKey::random());
        flood(&limits, "192.0.2.1", monday(), 4);
        let untold = limits.take_untold(monday());
        flood(&limits, "192.0.2.1", monday(), 2);
        for (of, count) in untold.values() {
            limits.give_back(*of, count);
        }
        limits.exchange(storage.as_ref(), monday()).await.unwrap();
        let (_, told) = untold.values().next().unwrap();
        let total = storage.count_requests(vec![RequestCount { number: 0, ..told.clone() }]).await.unwrap();
        assert_eq!(total[0].number, 6);
        assert_eq!(flood(&limits, "192.0.2.1", monday(), 10), 4);
        assert!(!told.sender.contains("192"), "{told:?}");
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
