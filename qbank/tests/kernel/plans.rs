//! Plans and pools: what is asked for is what is drawn, and files come back as they went.
use qbank::{
    form,
    plan::{Plan, PlanError},
    pool::{Pool, PoolError},
};

use crate::families;

const PLAN: &str = r#"
pool = "trial"
title = "A trial"
seed = "trial-1"

[[section]]
title = "Adding"
family = "add-ragged"
count = 12
pick = 2

[[section]]
title = "Adding more"
family = "add-ragged"
count = 5
pick = 1

[[section]]
title = "Comparing"
family = "compare-ragged"
count = 6
pick = 2
"#;

fn pool() -> Pool {
    Plan::from_toml(PLAN).unwrap().make(families(), None).unwrap()
}

#[test]
fn a_plan_makes_the_same_pool_every_time() {
    let pool = pool();
    assert_eq!(pool.sections.iter().map(|section| section.items.len()).collect::<Vec<_>>(), [12, 5, 6]);
    assert_eq!(pool.to_json(), self::pool().to_json());
    let other = Plan::from_toml(PLAN).unwrap().make(families(), Some("trial-2")).unwrap();
    assert_ne!(other.receipt(), pool.receipt());
}

#[test]
fn a_pool_file_comes_back_proven() {
    let pool = pool();
    assert_eq!(Pool::from_json(&pool.to_json()).unwrap(), pool);
    let tampered = pool.to_json().replacen("\"position\": 0", "\"position\": 1", 1);
    let error = Pool::from_json(&tampered).unwrap_err();
    assert!(matches!(error, PoolError::Proof { .. }), "{error}");
    assert!(error.to_string().contains("s1-add-ragged"), "{error}");
    assert!(matches!(Pool::from_json("{}"), Err(PoolError::Malformed(_))));
}

#[test]
fn a_plan_at_fault_says_where() {
    let unknown = PLAN.replace("compare-ragged", "compare-apples");
    let error = Plan::from_toml(&unknown).unwrap().make(families(), None).unwrap_err();
    assert!(matches!(error, PlanError::UnknownFamily { section: 3, .. }), "{error}");
    let greedy = PLAN.replace("count = 6", "count = 600000");
    let error = Plan::from_toml(&greedy).unwrap().make(families(), None).unwrap_err();
    assert!(matches!(error, PlanError::TooFew { section: 3, wanted: 600_000, .. }), "{error}");
    let malformed = Plan::from_toml("pool = \"x\"\ntitel = 3\n").unwrap_err();
    assert!(matches!(malformed, PlanError::Malformed { line: 2, column: 1, .. }), "{malformed}");
}

#[test]
fn a_form_takes_from_each_section_in_turn_and_never_twice() {
    let pool = pool();
    let form = form::draw(&pool, 7, "p-01/1");
    let of = |family: &str| form.iter().filter(|item| item.family == family).count();
    assert_eq!((of("add-ragged"), of("compare-ragged")), (5, 2));
    let mut ids: Vec<&str> = form.iter().map(|item| item.id.as_str()).collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), 7);
    assert_eq!(form, form::draw(&pool, 7, "p-01/1"));
    assert_ne!(form, form::draw(&pool, 7, "p-02/1"));
    assert_eq!(form::draw(&pool, 1000, "all").len(), 23);
}
