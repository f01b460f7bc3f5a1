//! Access tokens (checklist 1.6; LTI security framework 4.1.1, RFC 7523): asked for once, kept until shortly before their
//! end, never used for more than was granted.

use service::storage::DeliveryState;

use crate::delivery::Delivery;

fn tokens(delivery: &Delivery) -> usize {
    delivery.platform.book.lock().unwrap().tokens
}

async fn class(delivery: &Delivery, from: u32, to: u32) {
    for number in from..to {
        delivery.submit(&format!("pupil-{number:02}"), 7).await;
    }
    while delivery.deliver().await > 0 {}
    for number in from..to {
        assert_eq!(delivery.platform.points(&format!("pupil-{number:02}")), Some(7), "{number}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_class_shares_one_token_until_a_minute_before_its_end() {
    let delivery = Delivery::start("sqlite::memory:").await;
    class(&delivery, 0, 20).await;
    assert_eq!(tokens(&delivery), 1, "one asks, the others wait for it");
    delivery.clock.advance_ms((3600 - 60) * 1000 - 1);
    class(&delivery, 20, 25).await;
    assert_eq!(tokens(&delivery), 1);
    delivery.clock.advance_ms(1);
    class(&delivery, 25, 40).await;
    assert_eq!(tokens(&delivery), 2, "a minute before its end");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_that_grants_less_is_not_used() {
    let delivery = Delivery::start("sqlite::memory:").await;
    let less = "https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly".to_owned();
    delivery.platform.book.lock().unwrap().granted = Some(less);
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    let (state, problem) = delivery.state("pupil-7").await;
    assert_eq!(state, DeliveryState::Parked);
    assert!(problem.unwrap().contains("grants less"));
    assert!(delivery.platform.timestamps().is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn one_platform_gets_eight_scores_at_once_at_most() {
    let delivery = Delivery::start("sqlite::memory:").await;
    delivery.platform.book.lock().unwrap().pause_ms = 50;
    class(&delivery, 0, 30).await;
    assert_eq!(delivery.platform.book.lock().unwrap().at_once, (0, 8));
}
