//! The starter bank: every family draws proven, different, diagnostic questions.
use std::collections::BTreeSet;

use qbank::{
    bank,
    decimal::Decimal,
    family::{Choices, DrawError, Family, FamilyStep, Numbers},
    locale::Language,
    question::{Answer, Item, Step, StepKind},
    words::to_words,
};
use smol_str::SmolStr;

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

/// The parts of the codes, and families that serve them.
const PARTS: [(&str, &str, &[&str]); 41] = [
    ("4.NF.C.5", "tenths as hundredths", &["tenths-as-hundredths"]),
    ("4.NF.C.5", "tenths and hundredths together", &["tenths-plus-hundredths", "regroup-places"]),
    ("4.NF.C.6", "fractions as decimals", &["fraction-to-decimal", "mixed-to-decimal"]),
    ("4.NF.C.6", "number names", &["say-tenths", "say-hundredths", "read-tenths-hundredths"]),
    ("4.NF.C.6", "the number line", &["number-line-step"]),
    ("4.NF.C.6", "digits and places", &["digit-in-place", "how-many-tenths"]),
    ("4.NF.C.6", "whole numbers divided by 10 and 100", &["divide-whole-power"]),
    ("4.NF.C.7", "comparing", &["compare-equal-length", "compare-ragged", "compare-zero-inside"]),
    ("4.NF.C.7", "ordering", &["order-four", "order-volumes-down"]),
    ("4.MD.A.2", "money", &["money-total", "money-change", "money-coins", "estimate-prices"]),
    ("4.MD.A.2", "measures", &["difference-more", "story-length-waste", "story-samples"]),
    ("4.MD.A.2", "larger to smaller unit", &["convert-to-smaller"]),
    ("5.NBT.A.1", "ten times and one tenth", &["ten-times-one-tenth"]),
    ("5.NBT.A.1", "value of a digit", &["digit-worth", "digit-in-place"]),
    ("5.NBT.A.2", "times powers of ten", &["times-power", "power-exponents"]),
    ("5.NBT.A.2", "divided by powers of ten", &["divide-power", "divide-whole-power"]),
    ("5.NBT.A.2", "multiples of powers of ten", &["times-multiple-of-ten"]),
    ("5.NBT.A.2", "find the mistake", &["find-mistake-power"]),
    ("5.NBT.A.3a", "writing number names", &["say-hundredths", "say-thousandths", "say-zero-inside"]),
    ("5.NBT.A.3a", "reading number names", &["read-tenths-hundredths", "read-zero-inside"]),
    ("5.NBT.A.3a", "expanded form", &["expanded-form", "expanded-form-zero"]),
    ("5.NBT.A.3a", "thousandths as fractions", &["fraction-thousandths"]),
    ("5.NBT.A.3b", "comparing", &["compare-thousandths", "compare-last-place", "equal-decimals"]),
    ("5.NBT.A.3b", "ordering", &["order-thousandths", "order-five-masses"]),
    ("5.NBT.A.3b", "ordering on the number line", &["order-number-line"]),
    (
        "5.NBT.A.4",
        "to whole numbers, tenths, hundredths",
        &["round-whole", "round-tenths", "round-hundredths"],
    ),
    ("5.NBT.A.4", "to tens and hundreds", &["round-tens-hundreds"]),
    ("5.NBT.A.4", "to any place", &["round-three-ways"]),
    ("5.NBT.A.4", "estimating", &["estimate-sum", "estimate-product", "estimate-prices"]),
    ("5.NBT.B.7", "adding", &["add-equal", "add-ragged", "add-whole"]),
    ("5.NBT.B.7", "subtracting", &["subtract-exchange", "subtract-ragged", "subtract-equal-shift"]),
    ("5.NBT.B.7", "multiplying", &["multiply-whole", "multiply-tenths", "multiply-below-one"]),
    ("5.NBT.B.7", "dividing", &["divide-whole", "divide-tenths", "divide-zero-inside"]),
    ("5.NBT.B.7", "remainders", &["remainder-full-bottles", "remainder-trips", "remainder-as-decimal"]),
    (
        "5.NBT.B.7",
        "find the mistake",
        &["find-mistake-add", "find-mistake-subtract", "find-mistake-multiply"],
    ),
    ("5.NBT.B.7", "stories of 2 to 5 steps", &["story-relay", "story-coupon", "story-test-tanks"]),
    ("5.MD.A.1", "converting", &["convert-to-larger", "convert-to-smaller"]),
    ("5.MD.A.1", "converting on the way", &["convert-then-add", "convert-then-subtract", "story-tool-box"]),
    ("6.NS.B.3", "adding and subtracting", &["add-thousandths", "subtract-thousandths"]),
    ("6.NS.B.3", "multiplying", &["multiply-thousandths", "find-mistake-multiply"]),
    ("6.NS.B.3", "dividing", &["divide-decimals", "divide-money-rounded", "remainder-trips"]),
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
        let items = draws(family, "no repeats", DRAWS);
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
        for item in draws(family, "distinct", 100) {
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
    for code in CODES {
        assert!(PARTS.iter().any(|(known, ..)| *known == code), "{code}: no part");
    }
    for (code, part, serving) in PARTS {
        for name in serving {
            let family = families.iter().find(|family| family.id == *name);
            let family = family.unwrap_or_else(|| panic!("{code}, {part}: there is no family {name}"));
            assert!(
                family.standards.iter().any(|known| known == code),
                "{code}, {part}: {name} is not for it"
            );
        }
    }
}

/// What only a kind of step, an expression or a text can do for a part of the curriculum.
#[test]
fn parts_of_the_curriculum_are_asked_in_their_own_way() {
    type Asks = fn(&Family, &FamilyStep) -> bool;
    let asks: [(&str, Asks); 6] = [
        ("words", |_, step| step.kind == StepKind::Words),
        ("order", |_, step| step.kind == StepKind::Order),
        ("digit value", |family, step| {
            let mut used = vec![step.expression.to_string()];
            used.extend(family.givens.iter().filter_map(|given| match &given.numbers {
                Numbers::Derived { expression, .. } => Some(expression.to_string()),
                _ => None,
            }));
            used.iter().any(|expression| expression.contains("digit("))
        }),
        ("remainder", |_, step| step.expression.to_string().contains("whole(")),
        ("rounding to tens", |_, step| step.expression.to_string() == "round(a / 10, 0) * 10"),
        ("find the mistake", |_, step| matches!(step.choices, Choices::Mistakes(_))),
    ];
    for (part, asks) in asks {
        let serves = |family: &&Family| family.steps.iter().any(|step| asks(family, step));
        assert!(families().iter().any(|family| serves(&family)), "{part}");
    }
    let reads_words = |family: &Family| {
        let prompts = family.texts["en-US"].prompts.values();
        family.steps.iter().all(|step| step.kind == StepKind::Number)
            && prompts.clone().any(|prompt| prompt.contains(":words}"))
    };
    assert!(families().iter().any(reads_words), "reading number names");
}

/// Void positions cost time and make a count a bound that is far from the truth.
#[test]
fn most_positions_hold_a_question() {
    const POSITIONS: u64 = 200;
    for family in families() {
        let positions = u64::try_from(family.capacity()).unwrap_or(u64::MAX).min(POSITIONS);
        let is_void =
            |position: &u64| matches!(family.draw("void", *position, "en-US"), Err(DrawError::Void { .. }));
        let void = (0..positions).filter(is_void).count() as u64;
        assert!(2 * void <= positions, "{}: {void} of {positions} positions are void", family.id);
    }
}

#[test]
fn hardly_any_step_is_silent_about_wrong_answers() {
    const TRIED: usize = 40;
    for family in families() {
        let items = draws(family, "telling", TRIED);
        for (index, step) in family.steps.iter().enumerate().filter(|(_, step)| !step.control) {
            let telling = items.iter().filter(|item| !item.steps[index].predicted.is_empty()).count();
            assert!(
                10 * telling >= 9 * items.len(),
                "{} {}: {telling} of {}",
                family.id,
                step.id,
                items.len()
            );
        }
    }
}

#[test]
fn no_slot_stays_open_and_no_answer_stands_in_the_story() {
    let mut rendered = 0;
    for family in families() {
        for item in LOCALES.iter().flat_map(|locale| draws_in(family, "texts", 60, locale)) {
            rendered += 1;
            let prompts = item.steps.iter().map(|step| step.prompt.as_str());
            for text in prompts.chain([item.stem.as_str(), item.title.as_str()]) {
                assert!(!text.is_empty() && !text.contains(['{', '}']), "{}: {text}", item.id);
            }
            let told = numbers_in(&item.stem);
            for step in item.steps.iter().filter(|step| step.kind == StepKind::Number) {
                let answer = step.answer.text().unwrap().parse().unwrap();
                assert!(!told.contains(&answer), "{}: {answer} stands in '{}'", item.id, item.stem);
            }
        }
    }
    assert!(rendered >= 10_000, "{rendered}");
}

/// The names that answers, choices, and the givens derived from others rest on.
fn used_names(family: &Family) -> (BTreeSet<&str>, BTreeSet<&str>) {
    let mut asked: BTreeSet<&str> = family.steps.iter().flat_map(|step| step.expression.names()).collect();
    for step in &family.steps {
        if let Choices::Values(choices) = &step.choices {
            asked.extend(choices.iter().map(String::as_str));
        }
    }
    let behind = family.givens.iter().flat_map(|given| match &given.numbers {
        Numbers::Derived { expression, .. } => expression.names(),
        _ => Vec::new(),
    });
    (asked, behind.collect())
}

/// A given may stay untold only if it does nothing but make another given.
#[test]
fn every_given_is_told_and_used() {
    for family in families() {
        let (asked, behind) = used_names(family);
        let texts = &family.texts["en-US"];
        let told_in_text = |name: &str| {
            let mut texts =
                texts.stems.iter().map(String::as_str).chain(texts.prompts.values().map(SmolStr::as_str));
            [format!("{{{name}}}"), format!("{{{name}:")]
                .iter()
                .any(|slot| texts.any(|text| text.contains(slot)))
        };
        for given in &family.givens {
            let name = given.name.as_str();
            let used = asked.contains(name) || behind.contains(name) || told_in_text(name);
            assert!(used, "{}: {name} is never used", family.id);
        }
        for locale in LOCALES {
            let language = Language::of_locale(locale).unwrap();
            for item in draws_in(family, "told", 6, locale) {
                let prompts = item.steps.iter().map(|step| step.prompt.as_str());
                let texts: Vec<&str> = prompts.chain([item.stem.as_str()]).collect();
                let told = texts.iter().copied().flat_map(numbers_in);
                let choices =
                    item.steps.iter().flat_map(|step| &step.choices).filter_map(|choice| choice.value);
                let shown: Vec<Decimal> = told.chain(choices).collect();
                for given in item.givens.iter().filter(|given| asked.contains(given.name.as_str())) {
                    let in_words = to_words(&given.value, language).unwrap();
                    assert!(
                        shown.iter().any(|number| number.same_written(&given.value))
                            || texts.iter().any(|text| text.contains(&in_words)),
                        "{}: {} is never told",
                        item.id,
                        given.name
                    );
                }
            }
        }
    }
}

#[test]
fn a_number_told_in_words_stands_nowhere_in_digits() {
    for family in families().iter().filter(|family| family.id.starts_with("read-")) {
        for item in LOCALES.iter().flat_map(|locale| draws_in(family, "in words", 40, locale)) {
            for text in item.steps.iter().map(|step| step.prompt.as_str()).chain([item.stem.as_str()]) {
                assert!(!text.contains(|character: char| character.is_ascii_digit()), "{}: {text}", item.id);
            }
        }
    }
}

#[test]
fn languages_differ_in_words_only() {
    for family in families() {
        let [english, spanish] = LOCALES.map(|locale| draws_in(family, "languages", 6, locale));
        assert_eq!(english.len(), spanish.len(), "{}", family.id);
        for (one, other) in english.iter().zip(&spanish) {
            assert_eq!((one.position, &one.givens), (other.position, &other.givens), "{}", one.id);
            for (step, twin) in one.steps.iter().zip(&other.steps) {
                let choices = |step: &Step| -> Vec<(SmolStr, Option<Decimal>)> {
                    step.choices.iter().map(|choice| (choice.id.clone(), choice.value)).collect()
                };
                assert_eq!((&step.id, choices(step)), (&twin.id, choices(twin)), "{}", one.id);
                let causes = |step: &Step| -> Vec<SmolStr> {
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
        let items = draws(family, "guessing", 40);
        for (index, step) in family.steps.iter().enumerate() {
            let answers: BTreeSet<String> =
                items.iter().map(|item| item.steps[index].answer.to_string()).collect();
            assert!(step.kind != StepKind::Choice || answers.len() > 1, "{} {}", family.id, step.id);
        }
    }
}

#[test]
fn nothing_stands_in_the_order_asked_for_already() {
    for family in families() {
        for item in draws(family, "orders", 40) {
            for step in item.steps.iter().filter(|step| step.kind == StepKind::Order) {
                let shown: Vec<SmolStr> = step.choices.iter().map(|choice| choice.id.clone()).collect();
                assert_ne!(step.answer, Answer::Sequence(shown), "{}", item.id);
            }
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

fn receipts(locale: &str) -> Vec<(String, String)> {
    let first = |family: &Family| family.draws("golden", 0, locale).next().unwrap().unwrap();
    families()
        .iter()
        .map(|family| (format!("{} v{}", family.id, family.version), first(family).receipt.clone()))
        .collect()
}

fn golden(list: &str) -> Vec<(String, String)> {
    let split = |line: &str| line.rsplit_once(' ').map(|(name, receipt)| (name.into(), receipt.into()));
    list.lines().map(|line| split(line).unwrap()).collect()
}

/// Golden receipts: a change here is a change of content and calls for a new family version.
#[test]
fn golden_receipts_stand() {
    assert_eq!(receipts("en-US"), golden(include_str!("golden-receipts.txt")));
}

#[test]
fn golden_receipts_in_spanish_stand() {
    assert_eq!(receipts("es-US"), golden(include_str!("golden-receipts-es.txt")));
}
