//! The starter bank: every family draws proven, different, diagnostic questions.
use std::collections::BTreeSet;

use qbank::{
    bank,
    decimal::Decimal,
    family::{DrawError, Family},
    question::{Answer, Item},
};

const DRAWS: usize = 300;

fn draws(family: &Family, seed: &str, count: usize) -> Vec<Item> {
    family.draws(seed, 0, "en-US").take(count).map(Result::unwrap).collect()
}

#[test]
fn every_family_reads_and_is_named_after_its_file() {
    let families = bank::families().unwrap_or_else(|error| panic!("{error}"));
    assert!(families.len() >= 10);
    for (family, (name, _)) in families.iter().zip(bank::FILES) {
        assert_eq!(family.id, *name);
        assert!(!family.standards.is_empty(), "{name}");
    }
}

#[test]
fn no_numbers_repeat_while_capacity_allows() {
    for family in bank::families().unwrap() {
        let items = draws(&family, "no repeats", DRAWS);
        let all = family.capacity() < 10 * DRAWS as u128;
        assert!(items.len() == DRAWS || all, "{}: {} questions", family.id, items.len());
        let numbers: BTreeSet<Vec<Decimal>> =
            items.iter().map(|item| item.givens.iter().map(|given| given.value).collect()).collect();
        assert_eq!(numbers.len(), items.len(), "{}", family.id);
    }
}

#[test]
fn predicted_answers_differ_from_each_other_and_from_the_answer() {
    for family in bank::families().unwrap() {
        for item in draws(&family, "distinct", 100) {
            for step in &item.steps {
                let mut answers: Vec<String> =
                    step.predicted.iter().map(|wrong| wrong.answer.to_string()).collect();
                answers.push(step.answer.to_string());
                // By value: 0.5 and 0.50 are one answer.
                let values: BTreeSet<String> = answers
                    .iter()
                    .map(|text| {
                        text.parse::<Decimal>().map_or(text.clone(), |value| value.normalized().to_string())
                    })
                    .collect();
                assert_eq!(values.len(), answers.len(), "{} {}: {answers:?}", item.id, step.id);
            }
        }
    }
}

#[test]
fn a_position_is_the_same_question_alone_and_in_a_row() {
    let family = bank::family("story-samples").unwrap();
    let row = draws(&family, "alone", 20);
    for item in row.iter().rev() {
        assert_eq!(family.draw("alone", item.position, "en-US").as_ref(), Ok(item));
    }
    assert_ne!(row, draws(&family, "another seed", 20));
}

#[test]
fn no_slot_stays_open_and_no_answer_stands_in_the_story() {
    for family in bank::families().unwrap() {
        for item in draws(&family, "texts", 60) {
            let prompts = item.steps.iter().map(|step| &step.prompt);
            for text in prompts.chain([&item.stem, &item.title]) {
                assert!(!text.contains(['{', '}']), "{}: {text}", item.id);
            }
            assert!(!item.stem.is_empty(), "{}", item.id);
        }
    }
}

#[test]
fn answers_in_money_show_two_places() {
    for name in ["money-total", "money-change"] {
        for item in draws(&bank::family(name).unwrap(), "money", 40) {
            for step in &item.steps {
                let Answer::Text(answer) = &step.answer else { panic!("a number") };
                assert_eq!(answer.split_once('.').map(|(_, cents)| cents.len()), Some(2), "{answer}");
            }
        }
    }
}

#[test]
fn positions_end_at_the_capacity_and_locales_must_have_texts() {
    let family = bank::family("add-ragged").unwrap();
    assert!(matches!(family.draw("s", u64::MAX, "en-US"), Err(DrawError::BeyondCapacity { .. })));
    assert!(matches!(family.draw("s", 0, "fr-FR"), Err(DrawError::NoTexts { .. })));
    let unknown = bank::family("nothing").unwrap_err().to_string();
    assert!(unknown.contains("add-ragged"), "{unknown}");
}

/// Golden receipts: a change here is a change of content and calls for a new family version.
#[test]
fn golden_receipts_stand() {
    let found: Vec<(String, String)> = bank::families()
        .unwrap()
        .iter()
        .map(|family| {
            let first = family.draws("golden", 0, "en-US").next().unwrap().unwrap();
            (format!("{} v{}", family.id, family.version), first.receipt.clone())
        })
        .collect();
    let golden: Vec<(String, String)> = include_str!("golden-receipts.txt")
        .lines()
        .map(|line| line.rsplit_once(' ').unwrap())
        .map(|(name, receipt)| (name.into(), receipt.into()))
        .collect();
    assert_eq!(found, golden);
}
