//! Marking: verdicts in their order, follow-through over a chain, forms in money, named misconceptions.
use std::collections::BTreeMap;

use qbank::{
    bank,
    decimal::Decimal,
    grade::Grade,
    locale::Language,
    marking::{Mark, Verdict, mark},
    question::{Answer, Item},
    words::to_words,
};

use crate::families;

fn item(family: &str) -> Item {
    bank::family(family).unwrap().draws("marking", 0, "en-US").next().unwrap().unwrap()
}

fn answers(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
    pairs.iter().map(|(step, response)| (step.to_string(), response.to_string())).collect()
}

fn verdicts(mark: &Mark) -> Vec<Verdict> {
    mark.steps.iter().map(|step| step.verdict).collect()
}

fn number(item: &Item, step: &str) -> Decimal {
    let step = item.steps.iter().find(|one| one.id == step).unwrap();
    step.answer.text().unwrap().parse().unwrap()
}

/// A decimal changed by a whole number of units of its last place.
fn moved(number: Decimal, units: i128) -> Decimal {
    Decimal::new(number.units() + units, number.places()).unwrap()
}

#[test]
fn right_answers_earn_all_points_in_every_family() {
    for family in families() {
        for item in family.draws("full marks", 0, "en-US").take(25).map(Result::unwrap) {
            let marked = mark(&item, "p-01", &item.right_responses());
            assert_eq!(marked.points, item.max_points(), "{marked:?}");
            assert!(verdicts(&marked).iter().all(|verdict| *verdict == Verdict::Correct), "{marked:?}");
        }
    }
}

#[test]
fn each_predicted_answer_scores_nothing_and_is_named() {
    for family in families() {
        for item in family.draws("predicted", 0, "en-US").take(25).map(Result::unwrap) {
            for step in &item.steps {
                for wrong in &step.predicted {
                    let mut responses = item.right_responses();
                    responses.insert(step.id.to_string(), wrong.answer.to_string());
                    let marked = mark(&item, "p-01", &responses);
                    let judged = marked.steps.iter().find(|one| one.id == step.id).unwrap();
                    assert_eq!((judged.verdict, judged.points), (Verdict::Wrong, 0), "{judged:?}");
                    assert_eq!(judged.misconceptions.join(" | "), wrong.misconception);
                }
            }
        }
    }
}

#[test]
fn one_slip_in_a_chain_costs_one_step() {
    let item = item("story-samples");
    let slip = moved(number(&item, "water"), 1);
    let total = moved(
        number(&item, "total").with_places(2).unwrap(),
        100_i128.pow(0) * if slip.places() == 2 { 1 } else { 10 },
    );
    let limit_value = item.proven_steps()[3].value.unwrap();
    let left = limit_value.with_places(2).unwrap().units() - total.units();
    let mut responses = item.right_responses();
    responses.insert("water".into(), slip.to_string());
    responses.insert("total".into(), total.to_string());
    responses.insert("left".into(), Decimal::new(left, 2).unwrap().to_string());
    let marked = mark(&item, "p-01", &responses);
    assert_eq!(
        verdicts(&marked),
        [Verdict::Wrong, Verdict::Correct, Verdict::FollowThrough, Verdict::Correct, Verdict::FollowThrough]
    );
    assert_eq!(Grade::of([&marked]), Grade { given: 4, maximum: 5 });
}

#[test]
fn a_chosen_limit_is_followed_even_when_it_is_the_wrong_one() {
    let item = item("story-samples");
    let Answer::Text(right) = &item.steps[3].answer else { panic!("a choice") };
    let larger = item.steps[3].choices.iter().rfind(|choice| choice.id != *right).unwrap();
    let total = number(&item, "total").with_places(2).unwrap();
    let left = larger.value.unwrap().with_places(2).unwrap().units() - total.units();
    let mut responses = item.right_responses();
    responses.insert("limit".into(), larger.id.to_lowercase());
    responses.insert("left".into(), Decimal::new(left, 2).unwrap().to_string());
    let marked = mark(&item, "p-01", &responses);
    assert_eq!(marked.steps[3].verdict, Verdict::Wrong);
    assert_eq!(marked.steps[4].verdict, Verdict::FollowThrough);
    // A limit below the load leaves nothing that can be worked: no follow-through, and no failure either.
    responses.insert("total".into(), "99".into());
    responses.insert("left".into(), "1".into());
    assert_eq!(mark(&item, "p-01", &responses).steps[4].verdict, Verdict::Wrong);
}

#[test]
fn money_needs_two_places_as_published_marking_has_it() {
    // National test marking in England, as gathered in the trade's notes: for 2 pounds 40 accept £2.40 and £2 40,
    // not £2.4; a missing unit may pass. Dollars stand for pounds here.
    let family = bank::family("money-total").unwrap();
    let item = family
        .draws("tens of cents", 0, "en-US")
        .map(Result::unwrap)
        .find(|item| item.steps[0].answer.text().unwrap().ends_with('0'))
        .unwrap();
    let answer = item.steps[0].answer.text().unwrap();
    let short = answer.trim_end_matches('0');
    let judge = |text: &str| mark(&item, "p-01", &answers(&[("total", text)])).steps.remove(0);
    let spaced = answer.replace('.', " ");
    let cents = answer.replace('.', "");
    for text in [
        answer,
        &format!("${answer}"),
        &format!("${spaced}"),
        &format!("{cents}¢"),
        &format!("{answer} dollars"),
    ] {
        let judged = judge(text);
        assert_eq!((judged.verdict, judged.points), (Verdict::Correct, 1), "{text}");
    }
    let judged = judge(&format!("${short}"));
    assert_eq!((judged.verdict, judged.points), (Verdict::RightValueWrongForm, 0));
    assert!(judged.note.contains("2 places"), "{}", judged.note);
    assert_eq!(judge(&format!("${cents}¢")).verdict, Verdict::Unreadable);
}

#[test]
fn rounding_without_the_end_zero_is_right_with_a_note() {
    let family = bank::family("round-tenths").unwrap();
    let item = family
        .draws("end zero", 0, "en-US")
        .map(Result::unwrap)
        .find(|item| item.steps[0].answer.text().unwrap().ends_with(".0"))
        .unwrap();
    let whole = item.steps[0].answer.text().unwrap().trim_end_matches(".0").to_string();
    let judged = mark(&item, "p-01", &answers(&[("rounded", &whole)])).steps.remove(0);
    assert_eq!((judged.verdict, judged.points), (Verdict::RightValueWrongForm, 1));
}

#[test]
fn blank_unreadable_and_wrong_are_told_apart() {
    let item = item("add-ragged");
    let judge = |text: &str| mark(&item, "p-01", &answers(&[("total", text)])).steps.remove(0);
    assert_eq!(judge("  ").verdict, Verdict::Blank);
    let comma = judge("3,5");
    assert_eq!(comma.verdict, Verdict::Unreadable);
    assert!(comma.note.contains("','"), "{}", comma.note);
    assert_eq!(judge("0").verdict, Verdict::Wrong);
    assert_eq!(judge("7 m").verdict, Verdict::Unreadable);
    let nothing = mark(&item, "p-01", &BTreeMap::new());
    assert_eq!(verdicts(&nothing), [Verdict::Blank]);
}

#[test]
fn leading_and_end_zeros_do_not_change_a_right_answer() {
    let item = item("add-ragged");
    let answer = item.steps[0].answer.text().unwrap();
    for text in
        [format!("0{answer}"), format!("{answer}0"), format!(" {answer} kg"), format!("{answer} kilograms")]
    {
        let judged = mark(&item, "p-01", &answers(&[("total", &text)])).steps.remove(0);
        assert_eq!(judged.verdict, Verdict::Correct, "{text}");
    }
}

#[test]
fn choices_are_taken_by_letter_or_by_text() {
    let item = item("compare-ragged");
    let step = &item.steps[0];
    let right = step.choices.iter().find(|choice| Some(choice.id.as_str()) == step.answer.text()).unwrap();
    for text in [right.id.to_string(), right.id.to_lowercase(), right.text.to_string()] {
        assert_eq!(mark(&item, "p-01", &answers(&[("sign", &text)])).points, 1, "{text}");
    }
    let judged = mark(&item, "p-01", &answers(&[("sign", "?")])).steps.remove(0);
    assert_eq!(judged.verdict, Verdict::Unreadable);
}

#[test]
fn an_order_is_read_as_letters_texts_or_signs_and_is_all_or_nothing() {
    let item = item("order-four");
    let Answer::Sequence(ids) = &item.steps[0].answer else { panic!("an order") };
    let choice = |id: &str| item.steps[0].choices.iter().find(|choice| choice.id == *id).unwrap();
    let texts: Vec<&str> = ids.iter().map(|id| choice(id).text.as_str()).collect();
    let verdict = |response: &str| {
        let marked = mark(&item, "p-01", &answers(&[("order", response)]));
        (marked.steps[0].verdict, marked.points)
    };
    for right in [ids.join(", "), ids.join(""), ids.join(" ").to_lowercase(), texts.join(" < ")] {
        assert_eq!(verdict(&right), (Verdict::Correct, 1), "{right}");
    }
    let mut swapped = ids.clone();
    swapped.swap(0, 1);
    assert_eq!(verdict(&swapped.join(",")), (Verdict::Wrong, 0));
    assert_eq!(verdict(""), (Verdict::Blank, 0));
    for unreadable in [",,,", "A, A, B, C", "A, B", "A, B, C, E", "one after the other"] {
        assert_eq!(verdict(unreadable), (Verdict::Unreadable, 0), "{unreadable}");
    }
}

#[test]
fn words_are_right_under_the_name_of_the_last_place() {
    // 12.5 as words: the value is right as five tenths or fifty hundredths, but only one of them says what is written.
    let family = bank::family("say-hundredths").unwrap();
    let item = family.draws("words", 0, "en-US").next().unwrap().unwrap();
    let verdict = |response: &str| {
        let marked = mark(&item, "p-01", &answers(&[("said", response)]));
        (marked.steps[0].verdict, marked.points)
    };
    let right = item.steps[0].answer.text().unwrap().to_owned();
    assert_eq!(verdict(&right), (Verdict::Correct, 1));
    assert_eq!(verdict(&right.to_uppercase().replace('-', " ")), (Verdict::Correct, 1));
    let thousandths: Decimal = item.givens[0].value.with_places(3).unwrap();
    let told = to_words(&thousandths, Language::English).unwrap();
    assert_eq!(verdict(&told), (Verdict::RightValueWrongForm, 0), "{told}");
    assert_eq!(verdict("nine thousand"), (Verdict::Wrong, 0));
    for unreadable in [item.givens[0].value.to_string().as_str(), "point three five", "some"] {
        assert_eq!(verdict(unreadable), (Verdict::Unreadable, 0), "{unreadable}");
    }
    assert_eq!(verdict("  "), (Verdict::Blank, 0));
}

#[test]
fn a_mistake_is_found_by_what_it_leads_to() {
    let item = item("find-mistake-add");
    let step = &item.steps[1];
    let shown = item.givens.iter().find(|given| given.name == "shown").unwrap().value;
    let right = step.choices.iter().find(|choice| choice.value == Some(shown)).unwrap();
    assert_eq!(step.answer, Answer::Text(right.id.clone()));
    for choice in &step.choices {
        let marked = mark(&item, "p-01", &answers(&[("mistake", &choice.id)]));
        assert_eq!(marked.points, u32::from(choice.id == right.id));
    }
}
