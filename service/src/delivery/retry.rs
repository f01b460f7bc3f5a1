//! When to try again: growing pauses with jitter, the platform's own wish, and an end.

use std::time::Duration;

use jiff::Timestamp;

use crate::clock::plus_ms;
use crate::entropy;
use crate::storage::{DeliveryOutcome, LeasedGrade};

const FIRST_PAUSE_MS: u64 = 1_000;
const PAUSE_MAX_MS: u64 = 60 * 60 * 1_000;
/// After this long without success a person must look; long enough for a platform that is out over a weekend.
const GIVE_UP_AFTER_MS: i64 = 3 * 24 * 60 * 60 * 1_000;
/// How far ahead of our clock a message is dated, step by step, where a platform claims to know a later score: its clock, or
/// another sender's, may run ahead of ours. After the last a person must look at the clocks.
const AHEAD_MS: [i64; 6] = [1_000, 10_000, 60_000, 5 * 60_000, 15 * 60_000, 60 * 60_000];
/// So often a message with a later time goes out at once, then with pauses.
const AT_ONCE_TRIES: u32 = 10;

/// Another try after a pause that doubles each time, half of it random so that a class does not come back at once.
pub(super) fn later(
    grade: &LeasedGrade,
    now: Timestamp,
    problem: String,
    wish: Option<Duration>,
) -> DeliveryOutcome {
    if now.as_millisecond() - grade.waiting_since.as_millisecond() > GIVE_UP_AFTER_MS {
        return DeliveryOutcome::Parked { problem: format!("{problem}; given up after three days") };
    }
    let full_ms = FIRST_PAUSE_MS.saturating_mul(1 << grade.tries.min(20)).min(PAUSE_MAX_MS);
    let pause_ms = full_ms / 2 + entropy::jitter_ms(full_ms / 2 + 1);
    let wish_ms = wish.map_or(0, |wish| u64::try_from(wish.as_millis()).unwrap_or(u64::MAX));
    let pause_ms = pause_ms.max(wish_ms.min(24 * PAUSE_MAX_MS));
    let at = plus_ms(now, i64::try_from(pause_ms).unwrap_or(i64::MAX));
    DeliveryOutcome::Retry { at, problem, ahead_ms: None }
}

/// Our message is the newest there is, so it goes out again with a later timestamp (AGS 2.0, 3.4: 409). The row remembers how
/// far ahead it was dated: time that passes between two tries, however much, never leads to the same step again.
pub(super) fn with_later_timestamp(grade: &LeasedGrade, now: Timestamp, problem: String) -> DeliveryOutcome {
    let refused_ms = grade.ahead_ms.max(grade.timestamp.as_millisecond() - now.as_millisecond());
    let Some(ahead_ms) = AHEAD_MS.into_iter().find(|step| *step > refused_ms) else {
        return DeliveryOutcome::Parked { problem: format!("{problem}, far ahead of our clock") };
    };
    match later(grade, now, problem, None) {
        DeliveryOutcome::Retry { at, problem, .. } => DeliveryOutcome::Retry {
            at: if grade.tries < AT_ONCE_TRIES { now } else { at },
            problem,
            ahead_ms: Some(ahead_ms),
        },
        given_up => given_up,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::storage::{CellState, Progress, RegistrationId};

    fn grade(tries: u32) -> LeasedGrade {
        let time: Timestamp = "2026-03-02T09:00:00Z".parse().unwrap();
        LeasedGrade {
            registration: RegistrationId(1),
            placement: "p".into(),
            user: "u".into(),
            version: 1,
            progress: Progress::Started,
            maximum: 10,
            timestamp: time,
            ahead_ms: 0,
            tries,
            waiting_since: time,
            cell: CellState::default(),
        }
    }

    fn pause_ms(tries: u32, wish: Option<Duration>) -> i64 {
        let now = grade(tries).waiting_since;
        match later(&grade(tries), now, String::new(), wish) {
            DeliveryOutcome::Retry { at, .. } => at.as_millisecond() - now.as_millisecond(),
            other => panic!("expected a retry, got {other:?}"),
        }
    }

    #[test]
    fn pauses_double_up_to_an_hour() {
        for tries in 0..40 {
            let full = (1_000_i64 << tries.min(20)).min(3_600_000);
            let pause = pause_ms(tries, None);
            assert!((full / 2..=full).contains(&pause), "try {tries}: {pause} ms");
        }
    }

    #[test]
    fn a_platform_can_ask_for_a_longer_pause_but_not_for_a_shorter_one() {
        assert_eq!(pause_ms(0, Some(Duration::from_secs(120))), 120_000);
        assert!(pause_ms(10, Some(Duration::from_secs(1))) > 1_000);
        assert_eq!(pause_ms(0, Some(Duration::from_secs(u64::MAX))), 24 * 3_600_000);
    }

    #[test]
    fn gives_up_after_three_days() {
        let now = plus_ms(grade(9).waiting_since, GIVE_UP_AFTER_MS + 1);
        assert!(matches!(later(&grade(9), now, "busy".into(), None), DeliveryOutcome::Parked { .. }));
    }

    #[test]
    fn a_clock_that_runs_ahead_is_caught_up_with_in_growing_steps_up_to_an_hour() {
        let now = grade(0).waiting_since;
        // On a busy machine a minute passes between two tries: a message that was dated ahead is in the past when it is
        // refused. Earlier failures of another kind do not shorten the way.
        for passed_ms in [0, 40, 60_000] {
            let (mut dated_ms, mut steps) = (0, Vec::new());
            loop {
                let timestamp = plus_ms(now, dated_ms - passed_ms);
                let refused = LeasedGrade { timestamp, ahead_ms: dated_ms, ..grade(9) };
                match with_later_timestamp(&refused, now, String::new()) {
                    DeliveryOutcome::Retry { at, ahead_ms: Some(ahead_ms), .. } => {
                        assert_eq!(at, now, "at once");
                        dated_ms = ahead_ms;
                        steps.push(ahead_ms / 1_000);
                    }
                    DeliveryOutcome::Parked { .. } => break,
                    other => panic!("{other:?}"),
                }
            }
            assert_eq!(steps, [1, 10, 60, 300, 900, 3_600], "{passed_ms} ms");
        }
    }
}
