//! The starter bank: every family draws proven, different, diagnostic questions.
use std::collections::BTreeSet;

use qbank::{
    bank,
    decimal::Decimal,
    family::{Choices, DrawError, Family},
    question::{Answer, Item, Step, StepKind},
};

use crate::families;

const DRAWS: usize = 300;
const LOCALES: [&str; 2] = ["en-US", "es-US"];

/// The curriculum codes of grades 4 to 6 that the bank is for (Common Core).
const CODES: [&str; 12] = [
    "4.NF.C.5",
    "4.NF.C.6",
    "4.NF.C.7",
    "4.MD.A.2",
    "5.NBT.A.1",
    "5.NBT.A.2",
    "5.NBT.A.3a",
    "5.NBT.A.3b",
    "5.NBT.A.4",
    "5.NBT.B.7",
    "5.MD.A.1",
    "6.NS.B.3",
];

/// Parts of a code that ask for a kind of step: code, part, kind.
const PARTS: [(&str, &str, StepKind); 3] = [
    ("5.NBT.A.3a", "reading and writing number names", StepKind::Words),
    ("4.NF.C.7", "ordering tenths and hundredths", StepKind::Order),
    ("5.NBT.A.3b", "ordering to thousandths", StepKind::Order),
];

fn draws(family: &Family, seed: &str, count: usize) -> Vec<Item> {
    draws_in(family, seed, count, "en-US")
}

fn draws_in(family: &Family, seed: &str, count: usize, locale: &str) -> Vec<Item> {
    family.draws(seed, 0, locale).take(count).map(Result::unwrap).collect()
}

/// The numerals that stand in a text.
fn numbers_in(text: &str) -> Vec<Decimal> {
    text.split(|character: char| !character.is_ascii_digit() && character != '.')
        .filter_map(|part| part.trim_end_matches('.').parse().ok())
        .collect()
}

#[test]
fn every_family_reads_and_is_named_after_its_file() {
    let families = families();
    assert!(families.len() >= 64);
    for (family, (name, _)) in families.iter().zip(bank::FILES) {
        assert_eq!(family.id, *name);
        assert!(!family.standards.is_empty(), "{name}");
    }
}

#[test]
fn no_numbers_repeat_while_capacity_allows() {
    for family in families() {
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
    for family in families() {
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
fn every_family_speaks_both_languages() {
    for family in families() {
        assert!(family.texts.keys().eq(LOCALES), "{}: {:?}", family.id, family.texts.keys());
        let [english, spanish] = LOCALES.map(|locale| &family.texts[locale]);
        assert_eq!(english.stems.len(), spanish.stems.len(), "{}", family.id);
        assert_eq!(english.words, spanish.words, "{}: names are the same in both", family.id);
    }
}

#[test]
fn every_curriculum_code_has_a_family() {
    let families = families();
    for code in CODES {
        assert!(families.iter().any(|family| family.standards.iter().any(|known| known == code)), "{code}");
    }
    for family in families {
        for code in &family.standards {
            assert!(CODES.contains(&code.as_str()), "{}: {code} is not in the table", family.id);
        }
    }
    for (code, part, kind) in PARTS {
        let serves = |family: &Family| {
            family.standards.iter().any(|known| known == code)
                && family.steps.iter().any(|step| step.kind == kind)
        };
        assert!(families.iter().any(serves), "{code}: no family for {part}");
    }
}

#[test]
fn no_slot_stays_open_and_no_answer_stands_in_the_story() {
    let mut rendered = 0;
    for family in families() {
        for item in LOCALES.iter().flat_map(|locale| draws_in(&family, "texts", 20, locale)) {
            rendered += 1;
            let prompts = item.steps.iter().map(|step| &step.prompt);
            for text in prompts.chain([&item.stem, &item.title]) {
                assert!(!text.is_empty() && !text.contains(['{', '}']), "{}: {text}", item.id);
            }
            let told = numbers_in(&item.stem);
            for step in item.steps.iter().filter(|step| step.kind == StepKind::Number) {
                let answer = step.answer.text().unwrap().parse().unwrap();
                assert!(!told.contains(&answer), "{}: {answer} stands in '{}'", item.id, item.stem);
            }
        }
    }
    assert!(rendered >= 2_000, "{rendered}");
}

#[test]
fn every_given_is_told_and_used() {
    for family in families() {
        let mut used: BTreeSet<&str> = family.steps.iter().flat_map(|step| step.expression.names()).collect();
        for step in &family.steps {
            if let Choices::Values(choices) = &step.choices {
                used.extend(choices.iter().map(String::as_str));
            }
        }
        for given in &family.givens {
            assert!(used.contains(given.name.as_str()), "{}: {} is never used", family.id, given.name);
        }
        for item in LOCALES.iter().flat_map(|locale| draws_in(&family, "told", 6, locale)) {
            let prompts = item.steps.iter().map(|step| step.prompt.as_str());
            let told: Vec<Decimal> = prompts.chain([item.stem.as_str()]).flat_map(numbers_in).collect();
            let choices = item.steps.iter().flat_map(|step| &step.choices).filter_map(|choice| choice.value);
            let shown: Vec<Decimal> = told.into_iter().chain(choices).collect();
            for given in &item.givens {
                assert!(
                    shown.iter().any(|number| number.same_written(&given.value)),
                    "{}: {} is never told",
                    item.id,
                    given.name
                );
            }
        }
    }
}

#[test]
fn languages_differ_in_words_only() {
    for family in families() {
        let [english, spanish] = LOCALES.map(|locale| draws_in(&family, "languages", 6, locale));
        assert_eq!(english.len(), spanish.len(), "{}", family.id);
        for (one, other) in english.iter().zip(&spanish) {
            assert_eq!((one.position, &one.givens), (other.position, &other.givens), "{}", one.id);
            for (step, twin) in one.steps.iter().zip(&other.steps) {
                let choices = |step: &Step| -> Vec<(String, Option<Decimal>)> {
                    step.choices.iter().map(|choice| (choice.id.clone(), choice.value)).collect()
                };
                assert_eq!((&step.id, choices(step)), (&twin.id, choices(twin)), "{}", one.id);
                let causes = |step: &Step| -> Vec<String> {
                    step.predicted.iter().map(|wrong| wrong.misconception.clone()).collect()
                };
                assert_eq!(causes(step), causes(twin), "{}", one.id);
                if step.kind != StepKind::Words {
                    assert_eq!(
                        (&step.answer, &step.predicted),
                        (&twin.answer, &twin.predicted),
                        "{}",
                        one.id
                    );
                }
                assert_ne!(step.prompt, twin.prompt, "{}", one.id);
            }
        }
    }
}

#[test]
fn a_comparison_cannot_be_guessed_from_its_family() {
    for family in families() {
        let items = draws(&family, "guessing", 40);
        for (index, step) in family.steps.iter().enumerate() {
            let answers: BTreeSet<String> =
                items.iter().map(|item| item.steps[index].answer.to_string()).collect();
            assert!(step.kind != StepKind::Choice || answers.len() > 1, "{} {}", family.id, step.id);
        }
    }
}

#[test]
fn answers_in_money_show_two_places() {
    let families = families();
    let money = families.iter().filter(|family| family.id.contains("money"));
    for family in money {
        for item in draws(family, "money", 40) {
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
    let found: Vec<(String, String)> = families()
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
