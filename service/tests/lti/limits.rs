//! Floods from one address: kept away, while those who run the service still see it.

use std::num::NonZeroU32;

use reqwest::header::RETRY_AFTER;

use crate::tool::Tool;

#[tokio::test(flavor = "multi_thread")]
async fn a_flood_is_answered_429_and_health_checks_are_not() {
    let tool = Tool::start_with(|settings| {
        settings.requests_per_second = NonZeroU32::new(1);
        settings.behind_proxy = true;
    })
    .await;
    let get = async |path: &str| {
        let request = tool.client.get(format!("{}{path}", tool.url));
        request.header("x-forwarded-for", "203.0.113.9").send().await.unwrap()
    };
    let mut kept_away = None;
    for _ in 0..60 {
        let answer = get("/lti/keys").await;
        if answer.status() == 429 {
            kept_away = Some(answer);
            break;
        }
        assert_eq!(answer.status(), 200);
    }
    let kept_away = kept_away.expect("one request a second is allowed, twenty at once");
    // Until the span ends in which they are counted.
    let seconds: u32 = kept_away.headers()[RETRY_AFTER].to_str().unwrap().parse().unwrap();
    assert!((1..=20).contains(&seconds), "{seconds}");
    assert!(kept_away.headers().contains_key("content-security-policy"));
    assert!(kept_away.text().await.unwrap().contains(">too_many_requests</code>"));
    assert_eq!(get("/health/ready").await.status(), 200);
    let metrics = get("/metrics").await.text().await.unwrap();
    assert!(metrics.contains("tenths_limited_total{limit=\"requests\"} "), "{metrics}");
}
