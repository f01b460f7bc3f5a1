//! Plans and pools: what is asked for is what is drawn, and files come back as they went.
use std::collections::BTreeSet;

use qbank::{
    bank,
    draw::Draws,
    family::Family,
    form,
    plan::{Plan, PlanError, Source},
    pool::{Pool, PoolError},
    question::StepKind,
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

/// Families enough to choose from, without reading the whole bank.
fn some_families() -> Vec<Family> {
    ["subtract-exchange", "add-whole", "add-ragged", "compare-ragged", "story-best-offer", "money-change"]
        .map(|name| bank::family(name).unwrap())
        .into()
}

fn section(lines: &str) -> String {
    format!(
        "pool = \"trial\"\ntitle = \"A trial\"\nseed = \"t\"\n[[section]]\ntitle = \"One\"\npick = 1\n{lines}\n"
    )
}

fn made(lines: &str) -> Result<Pool, PlanError> {
    Plan::from_toml(&section(lines))?.make(&some_families(), None)
}

#[test]
fn the_plan_of_the_developers_guide_is_drawn() {
    let guide = include_str!("../../../DEVELOPERS.md");
    let (_, how_to) = guide.split_once("## How a plan is written").unwrap();
    let (_, plan) = how_to.split_once("```toml").unwrap();
    let (plan, _) = plan.split_once("```").unwrap();
    let plan = Plan::from_toml(plan).unwrap();
    assert_eq!(plan.families(), None);
    let pool = plan.make(&bank::families().unwrap(), None).unwrap();
    assert_eq!(pool.items().count(), 24 + 40 + 12);
    let ids: BTreeSet<&str> = pool.items().map(|item| item.id.as_str()).collect();
    assert_eq!(ids.len(), 76, "no question twice");
    let by_code = &pool.sections[1];
    assert_eq!(by_code.id, "s2-5-NBT-B-7");
    for item in &by_code.items {
        assert!((2..=3).contains(&item.difficulty), "{}", item.id);
        assert!(item.standards.iter().any(|code| code == "5.NBT.B.7"), "{}", item.id);
        assert!(item.steps.iter().any(|step| step.kind == StepKind::Number), "{}", item.id);
    }
    let families: BTreeSet<&str> = by_code.items.iter().map(|item| item.family.as_str()).collect();
    assert!(families.len() >= 10, "{families:?}");
    assert!(pool.sections[2].items.iter().all(|item| (3..=4).contains(&item.difficulty)));
}

#[test]
fn a_code_draws_from_its_families_in_turn_by_name() {
    let pool = made("standards = [\"5.NBT.B.7\"]\ndifficulty = [2, 3]\ncount = 9").unwrap();
    let families: Vec<&str> = pool.items().map(|item| item.family.as_str()).collect();
    let round = ["add-ragged", "add-whole", "subtract-exchange"];
    assert_eq!(families[..3], round);
    assert_eq!(families[6..], round);
    let by_kind = made("standards = [\"5.NBT.B.7\"]\nkind = \"choice\"\ncount = 4");
    assert!(by_kind.unwrap().items().all(|item| item.family == "story-best-offer"));
}

#[test]
fn a_family_that_hardly_meets_the_levels_is_passed_over_and_a_used_up_one_ends() {
    // Whole numbers and decimals are never added at level 4.
    let pool = made("standards = [\"5.NBT.B.7\"]\ndifficulty = [4, 5]\ncount = 6").unwrap();
    assert!(pool.items().all(|item| item.family != "add-whole" && item.difficulty >= 4));
    let error = made("family = \"add-whole\"\ndifficulty = [5, 5]\ncount = 3").unwrap_err();
    assert_eq!(
        error.to_string(),
        "section 1: 3 questions of the family 'add-whole' of level 5 are asked for, 0 different ones were found: \
         add-whole 0 (then 200 in a row of other levels)"
    );
}

#[test]
fn sections_share_a_family_by_levels_without_repeating() {
    let lines = "family = \"compare-ragged\"\ndifficulty = [3, 3]\ncount = 5\n\
                 [[section]]\ntitle = \"Two\"\npick = 1\nfamily = \"compare-ragged\"\ncount = 20";
    let pool = made(lines).unwrap();
    let ids: BTreeSet<&str> = pool.items().map(|item| item.id.as_str()).collect();
    assert_eq!(ids.len(), 25);
    // What the first section passed over is not lost to the second one.
    let earliest = pool.sections[1].items.iter().map(|item| item.position).min();
    assert!(earliest < pool.sections[0].items.iter().map(|item| item.position).max());
}

#[test]
fn a_section_at_fault_says_what_was_asked_and_what_there_is() {
    let cases = [
        ("count = 3", "either 'family', or 'standards'"),
        ("family = \"add-whole\"\nstandards = [\"5.NBT.B.7\"]\ncount = 3", "either 'family', or 'standards'"),
        ("standards = []\ncount = 3", "either 'family', or 'standards'"),
        ("family = \"add-whole\"\ndifficulty = [3, 2]\ncount = 3", "two levels from 1 to 5"),
        ("family = \"add-whole\"\ndifficulty = [0, 2]\ncount = 3", "two levels from 1 to 5"),
        ("family = \"add-whole\"\nkind = \"essay\"\ncount = 3", "line 8, column 8"),
        ("family = \"add-whole\"\nlevel = 3\ncount = 3", "line 8, column 1: unknown field `level`"),
        (
            "standards = [\"5.NBT.B.9\"]\ncount = 3",
            "section 1: no family is for '5.NBT.B.9'; there are families for 4",
        ),
        (
            "family = \"add-whole\"\nkind = \"choice\"\ncount = 3",
            "section 1: no family has questions of the family 'add-whole' with a step of kind choice",
        ),
    ];
    for (lines, said) in cases {
        let error = made(lines).unwrap_err().to_string();
        assert!(error.contains(said), "{lines}: {error}");
    }
    let misplaced = made("count = 3").unwrap_err();
    assert!(matches!(misplaced, PlanError::Malformed { line: 4, .. }), "{misplaced}");
}

#[test]
fn a_plan_says_which_families_it_needs() {
    let plan = Plan::from_toml(PLAN).unwrap();
    assert_eq!(plan.families(), Some(BTreeSet::from(["add-ragged", "compare-ragged"])));
    assert_eq!(plan.section[0].source, Source::Family("add-ragged".into()));
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

/// One section of many kinds of questions, easy and hard ones.
fn mixed_pool() -> Pool {
    let lines = "standards = [\"5.NBT.B.7\", \"5.NBT.A.3b\"]\ncount = 120\n\
                 [[section]]\ntitle = \"Two\"\npick = 1\nfamily = \"subtract-exchange\"\ncount = 24";
    Plan::from_toml(&section(lines)).unwrap().make(&some_families(), None).unwrap()
}

/// Scores of forms drawn without strata: as many of each section, in the order of a shuffle.
fn unstratified(pool: &Pool, shares: &[usize], forms: u32) -> form::Extent {
    let of_form = |form: u32| {
        let mut score = 0;
        for (section, share) in pool.sections.iter().zip(shares) {
            let mut items: Vec<_> = section.items.iter().collect();
            Draws::keyed(&format!("shuffle/{}/{form}", section.id)).shuffle(&mut items);
            score += items[..*share].iter().map(|item| item.profile().score()).sum::<u32>();
        }
        score
    };
    (0..forms).map(of_form).collect()
}

#[test]
fn parallel_forms_are_more_alike_than_chance_makes_them() {
    let pool = mixed_pool();
    let spread = form::spread(&pool, 8, 500);
    let chance = unstratified(&pool, &[4, 4], 500);
    assert_eq!(spread.score.forms(), 500);
    assert!(2 * spread.score.width() < chance.width(), "{spread}; by chance {chance}");
    // On the whole forms are neither easier nor harder than the pool.
    assert!(spread.score.mean_tenths().abs_diff(chance.mean_tenths()) < 20, "{spread}; by chance {chance}");
    let told = spread.to_string();
    assert!(told.starts_with("parallel forms of 8 questions: score ") && told.ends_with(", over 500 forms"));
    assert!(spread.features.values().all(|extent| extent.greatest > 0 && extent.forms() == 500));
}

#[test]
fn every_item_can_be_drawn_and_none_twice() {
    let pool = mixed_pool();
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    for seed in 0..1_000 {
        let form = form::draw(&pool, 7, &seed.to_string());
        let ids: BTreeSet<&str> = form.iter().map(|item| item.id.as_str()).collect();
        assert_eq!(ids.len(), 7);
        seen.extend(ids);
    }
    assert_eq!(seen.len(), pool.items().count());
}
