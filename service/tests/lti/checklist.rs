//! The list of launches to reject, row by row: which checks refused it, and that none of its cases opened or broke anything.
//!
//! Row 46 is no refusal: a list of mentored people without the mentor's role is passed over and logged, as the list itself
//! says; `launch.rs` shows that such a launch opens.

use std::collections::{BTreeMap, BTreeSet};

use crate::tool::Refusal;
use crate::{launch, login};

/// The rows that have to be refused.
fn rows() -> impl Iterator<Item = u32> {
    (1..=48).filter(|row| *row != 46)
}

#[tokio::test(flavor = "multi_thread")]
async fn every_row_is_refused_with_its_check_named() {
    let mut refusals = login::rows_1_to_7().await;
    refusals.extend(login::row_6_an_issuer_with_two_registrations_and_no_client_id().await);
    refusals.extend(launch::rows_8_to_11_launches_without_their_login().await);
    refusals.extend(launch::rows_12_to_21_tokens_that_are_malformed_or_not_authentic().await);
    refusals.extend(launch::rows_22_to_30_tokens_for_others_and_other_times().await);
    refusals.extend(launch::rows_31_to_45_messages_that_break_the_standard().await);
    refusals.extend(launch::row_36_a_deployment_that_is_not_registered().await);
    refusals.extend(launch::rows_43_44_and_47_deep_linking_that_may_not_be().await);

    let mut by_row: BTreeMap<u32, Vec<Refusal>> = BTreeMap::new();
    for refusal in &refusals {
        let row = refusal.case.split_whitespace().next().and_then(|row| row.parse().ok());
        by_row.entry(row.unwrap_or(0)).or_default().push(refusal.clone());
    }
    let missing: Vec<u32> = rows().filter(|row| !by_row.contains_key(row)).collect();
    assert!(missing.is_empty(), "rows without a case: {missing:?}");
    println!("row  cases  status   refused by");
    for (row, refusals) in &by_row {
        let statuses: BTreeSet<_> = refusals.iter().map(|refusal| refusal.check.status()).collect();
        let checks: BTreeSet<_> = refusals.iter().map(|refusal| refusal.check.name()).collect();
        let join = |texts: Vec<String>| texts.join(", ");
        let statuses = join(statuses.iter().map(ToString::to_string).collect());
        let checks = join(checks.iter().map(ToString::to_string).collect());
        println!("{row:>3}  {:>5}  {statuses:<8} {checks}", refusals.len());
    }
    // Each refusal was asserted with its status and name as it happened: none opened a session, none was a 5xx.
    println!("{} rows, {} cases refused, 0 accepted, 0 of 5xx", rows().count(), refusals.len());
    assert!(refusals.len() >= 90, "{}", refusals.len());
}
