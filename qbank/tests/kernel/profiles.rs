//! Difficulty of drawn questions, and what families tell apart.
use std::collections::BTreeSet;

use qbank::{
    bank,
    family::{Family, SAMPLE},
    profile::{Feature, Profile},
    question::Item,
};

fn sample(family: &Family) -> Vec<Item> {
    family.draws("profiles", 0, "en-US").take(SAMPLE).map(Result::unwrap).collect()
}

fn of(name: &str) -> Vec<Item> {
    sample(&bank::family(name).unwrap())
}

/// The mean score of a family's sample, in hundredths.
fn mean_score(name: &str) -> u32 {
    let scores: Vec<u32> = of(name).iter().map(|item| item.profile().score()).collect();
    scores.iter().sum::<u32>() * 100 / u32::try_from(scores.len()).unwrap()
}

#[test]
fn a_question_carries_the_level_of_its_profile() {
    for family in bank::families().unwrap() {
        for item in sample(&family) {
            assert_eq!(*item.profile(), Profile::of(&item));
            assert_eq!(item.difficulty, item.profile().level(), "{}", item.id);
        }
    }
}

#[test]
fn steps_and_tempting_words_count() {
    let counts = |name: &str| {
        let item = &of(name)[0];
        [Feature::LaterStep, Feature::BuildsOn, Feature::TemptingWords]
            .map(|feature| item.profile().count(feature))
    };
    assert_eq!(counts("add-ragged"), [0, 0, 0]);
    assert_eq!(counts("fraction-to-decimal"), [1, 0, 0]);
    assert_eq!(counts("convert-then-add"), [1, 1, 0]);
    assert_eq!(counts("story-samples"), [4, 5, 0]);
    assert_eq!(counts("difference-more"), [0, 0, 1]);
}

#[test]
fn the_bank_spreads_over_all_levels() {
    let mut families = [0; 5];
    for family in bank::families().unwrap() {
        let items = sample(&family);
        let sum: usize = items.iter().map(|item| usize::from(item.difficulty)).sum();
        families[(2 * sum + items.len()) / (2 * items.len()) - 1] += 1;
    }
    assert!(families.iter().all(|count| *count >= 7), "families by mean level: {families:?}");
}

#[test]
fn what_teachers_call_harder_scores_higher() {
    let ladders: [&[&str]; 6] = [
        &["add-whole", "add-ragged", "add-three-lengths", "add-then-subtract"],
        &["subtract-whole", "subtract-exchange", "subtract-across-zero", "subtract-two-zeros"],
        &["compare-equal-length", "compare-ragged", "compare-thousandths", "largest-of-three"],
        &["round-whole", "round-tenths", "round-nines"],
        &[
            "times-power",
            "multiply-whole",
            "multiply-tenths",
            "multiply-tenths-hundredths",
            "multiply-below-one",
        ],
        &["divide-power", "divide-tenths", "divide-whole", "divide-decimals", "divide-zero-inside"],
    ];
    for ladder in ladders {
        let scores: Vec<u32> = ladder.iter().map(|name| mean_score(name)).collect();
        assert!(scores.is_sorted_by(|lower, higher| lower < higher), "{ladder:?}: {scores:?}");
    }
}

#[test]
fn every_pair_of_misconceptions_is_told_apart_or_said_not_to_be() {
    for family in bank::families().unwrap() {
        let told = family.telling().unwrap();
        let known = family.all_misconceptions().len();
        let pairs: BTreeSet<_> = told.apart.iter().chain(&told.never_apart).collect();
        assert_eq!(pairs.len(), known * known.saturating_sub(1) / 2, "{}", family.id);
        assert!(pairs.iter().all(|(one, other)| one != other), "{}", family.id);
        assert!(1 <= told.levels.0 && told.levels.0 <= told.levels.1 && told.levels.1 <= 5, "{}", family.id);
    }
}

#[test]
fn a_pair_is_told_apart_exactly_where_a_step_predicts_two_answers() {
    let family = bank::family("subtract-exchange").unwrap();
    let items = sample(&family);
    let told = family.told_by(&items);
    let answer = |item: &Item, name: &str| {
        let wrong = item.steps[0]
            .predicted
            .iter()
            .find(|wrong| wrong.misconception.split(" | ").any(|id| id == name));
        wrong.map(|wrong| wrong.answer.to_string())
    };
    for (pairs, expected) in [(&told.apart, true), (&told.never_apart, false)] {
        for (one, other) in pairs {
            let differ = |item: &Item| match (answer(item, one), answer(item, other)) {
                (Some(one), Some(other)) => one != other,
                _ => false,
            };
            assert_eq!(items.iter().any(differ), expected, "{one}, {other}");
        }
    }
    assert!(!told.apart.is_empty());
}
