//! What exported items score, played from the bytes of their files, against the project's own marking: the same points and the same
//! verdict, for right, wrong, followed-through, badly written, unreadable and missing answers.
use std::collections::BTreeMap;

use exporters::qti::{
    Solution,
    from_item::{Mapped, map_item},
    model::AssessmentItem,
    report::{LeftOut, Loss, Reason},
};
use qbank::{
    accept::{Credit, Form, Precision, Rule, Ties},
    arithmetic::{Columns, evaluate},
    bank,
    expression::Names,
    locale::Language,
    marking::{Mark, Verdict, mark},
    question::Item,
};

use crate::{
    cases::{Dice, Responses, expected_feedback, given, some_pupil},
    player::{Played, Player},
    samples::{Sample, decimal},
    schemas::by_hand,
};

/// An item as exported, and ready to be played.
struct Exported {
    item: AssessmentItem,
    left_out: Vec<LeftOut>,
    player: Player,
}

fn mapped(item: &Item) -> Exported {
    let Mapped { item, left_out } = map_item(item, Solution::AfterLastAttempt, 1).unwrap();
    Exported { player: Player::of(&item), item, left_out }
}

fn responses(given: &[(&str, &str)]) -> Responses {
    given.iter().map(|(step, text)| ((*step).to_owned(), (*text).to_owned())).collect()
}

fn feedback<'s>(session: &'s Played, step: &str) -> &'s str {
    session.text(&format!("FEEDBACK_{step}")).expect("every step is judged")
}

#[track_caller]
fn assert_agree(item: &Item, exported: &Player, given: &Responses) -> Mark {
    let session = exported.play(given, 1);
    let marked = mark(item, "p-01", given);
    for (step, (_, proven)) in marked.steps.iter().zip(item.steps_proven()) {
        let score = session.float(&format!("SCORE_{}", step.id));
        let context = format!("{} {} {given:?}", item.id, step.id);
        assert_eq!(feedback(&session, &step.id), expected_feedback(item, step, proven), "{context}");
        assert_eq!(score, Some(f64::from(step.points)), "{context}");
    }
    assert_eq!(session.float("SCORE"), Some(f64::from(marked.points)));
    assert_eq!(session.float("MAXSCORE"), Some(f64::from(marked.max)));
    marked
}

fn assert_agree_on_many(item: &Item, pupils: u32) -> BTreeMap<String, u32> {
    let exported = mapped(item);
    assert_eq!(exported.left_out, []);
    let mut verdicts = BTreeMap::new();
    let mut dice = Dice(u64::from(pupils));
    assert_agree(item, &exported.player, &item.right_responses());
    for _ in 0..pupils {
        let marked = assert_agree(item, &exported.player, &some_pupil(item, &mut dice));
        for step in marked.steps {
            *verdicts.entry(format!("{:?}", step.verdict)).or_insert(0) += 1;
        }
    }
    verdicts
}

#[test]
fn items_of_the_whole_bank_score_as_the_projects_own_marking() {
    let mut verdicts: BTreeMap<String, u32> = BTreeMap::new();
    for family in bank::families().unwrap() {
        for item in family.draws("scoring", 0, "en-US").take(6).map(Result::unwrap) {
            for (verdict, count) in assert_agree_on_many(&item, 60) {
                *verdicts.entry(verdict).or_insert(0) += count;
            }
        }
    }
    for verdict in ["Correct", "FollowThrough", "RightValueWrongForm", "Wrong", "Unreadable", "Blank"] {
        assert!(
            verdicts.get(verdict).is_some_and(|count| *count > 10),
            "{verdict} was hardly tried: {verdicts:?}"
        );
    }
}

#[test]
fn right_answers_of_the_whole_bank_earn_all_and_predicted_ones_nothing_but_their_own_feedback() {
    let mut kinds: BTreeMap<&str, u32> = BTreeMap::new();
    for family in bank::families().unwrap() {
        for item in family.draws("predicted", 0, "en-US").take(6).map(Result::unwrap) {
            let exported = mapped(&item).player;
            let right = item.right_responses();
            let marked = assert_agree(&item, &exported, &right);
            assert_eq!(marked.points, marked.max, "{}", item.id);
            for (step, proven) in item.steps_proven() {
                for wrong in &proven.wrong {
                    let mut responses = right.clone();
                    responses.insert(step.id.to_string(), given(&item, step, &wrong.key));
                    let marked = assert_agree(&item, &exported, &responses);
                    let judged = marked.steps.iter().find(|judged| judged.id == step.id).unwrap();
                    assert_eq!(
                        (judged.verdict, judged.points),
                        (Verdict::Wrong, 0),
                        "{} {}",
                        item.id,
                        step.id
                    );
                    assert_eq!(
                        judged.misconceptions[..],
                        wrong.misconceptions[..],
                        "{} {}",
                        item.id,
                        step.id
                    );
                    *kinds.entry(step.kind.name()).or_default() += 1;
                }
            }
        }
    }
    for kind in ["number", "choice", "order", "words"] {
        assert!(kinds.get(kind).is_some_and(|count| *count >= 6), "{kind} was hardly tried: {kinds:?}");
    }
}

#[test]
fn numbers_in_words_and_orders_score_as_the_projects_own_marking() {
    let givens = [("a", "12.40"), ("b", "0.375"), ("c", "2.5"), ("d", "200.5"), ("e", "0.0105")];
    for value in ["a", "b", "c", "d", "e", "a + c", "whole(d)"] {
        assert_agree_on_many(&Sample::new("words", &givens).words("said", value).item(), 300);
    }
    for expression in ["ascending(a, b, c)", "descending(c, a, b)"] {
        let sample = Sample::new("order", &givens);
        assert_agree_on_many(&sample.order("order", expression, &["12.40", "0.375", "2.5"]).item(), 100);
    }
}

#[test]
fn items_made_by_hand_score_as_the_projects_own_marking() {
    for item in by_hand().items() {
        let exported = mapped(item).player;
        let mut dice = Dice(11);
        for _ in 0..200 {
            assert_agree(item, &exported, &some_pupil(item, &mut dice));
        }
    }
}

#[test]
fn a_share_of_an_own_value_ends_where_it_ends() {
    let item = Sample::new("share", &[("a", "12.4"), ("b", "3.57"), ("c", "0.25")])
        .plain("near", "a + b")
        .number("share", "near * c", Rule::Relative { percent: decimal("5") }, Form::default(), None)
        .item();
    let exported = mapped(&item).player;
    // 5 % of 15.97 * 0.25 = 3.9925, and of 15.5 * 0.25 = 3.875.
    for (near, share, verdict) in [
        ("15.97", "4.192125", Verdict::Correct),
        ("15.97", "4.1921251", Verdict::Wrong),
        ("15.97", "3.792875", Verdict::Correct),
        ("15.97", "3.7928749", Verdict::Wrong),
        ("15.5", "3.68125", Verdict::FollowThrough),
        ("15.5", "3.6812499", Verdict::Wrong),
    ] {
        let marked = assert_agree(&item, &exported, &responses(&[("near", near), ("share", share)]));
        assert_eq!(marked.steps[1].verdict, verdict, "{near} {share}");
    }
}

#[test]
fn an_order_over_own_values_is_right_or_nothing_follows() {
    let givens = [("a", "12.4"), ("b", "3.57"), ("c", "15.97")];
    let item = Sample::new("order-own", &givens)
        .plain("total", "a + b")
        .plain("difference", "a - b")
        .order("order", "ascending(total, difference, a)", &["15.97", "8.83", "12.4"])
        .item();
    let exported = mapped(&item);
    assert_eq!(exported.left_out, []);
    let swapped = [("total", "8.83"), ("difference", "15.97")];
    let slipped = [("total", "1.5"), ("difference", "8.83")];
    for own in [swapped, slipped] {
        for order in ["B, C, A", "A, B, C", "C, A, B", "A, C, B", "B, A, C"] {
            let given = responses(&[own[0], own[1], ("order", order)]);
            let marked = assert_agree(&item, &exported.player, &given);
            assert_ne!(marked.steps[2].verdict, Verdict::FollowThrough);
        }
    }
}

#[test]
fn sentences_that_name_a_mistake_are_choices_without_an_order_of_their_own() {
    let mistakes = [
        ("add-right-edge", "The last digits were put under each other."),
        ("add-two-whole-numbers", "The parts before and after the point were added as two whole numbers."),
    ];
    let item = Sample::new("mistake", &[("a", "18.6"), ("b", "3.75"), ("shown", "5.61")])
        .plain("total", "a + b")
        .mistake("mistake", "shown", "a + b", &mistakes)
        .item();
    let exported = mapped(&item);
    assert_agree_on_many(&item, 60);
    assert!(format!("{:?}", exported.item.body).contains("shuffle: true"));
}

#[test]
fn tolerances_and_rounding_score_as_the_projects_own_marking() {
    let places = |places| Rule::Rounded { to: Precision::Places(places), ties: Ties::HalfUp };
    let figures = Rule::Rounded { to: Precision::Figures(2), ties: Ties::HalfUp };
    let rules = [
        Rule::Absolute { tolerance: decimal("0.1") },
        Rule::Absolute { tolerance: decimal("0.01") },
        Rule::Absolute { tolerance: decimal("0") },
        Rule::Relative { percent: decimal("10") },
        places(1),
        places(0),
        figures,
    ];
    for rule in rules {
        for (a, b) in [("12.4", "3.57"), ("0.05", "0.095"), ("7", "0.845")] {
            let sample = Sample::new("rule", &[("a", a), ("b", b)]);
            assert_agree_on_many(
                &sample.number("sum", "a + b", rule.clone(), Form::default(), None).item(),
                300,
            );
        }
    }
}

#[test]
fn follow_through_scores_as_the_projects_own_marking() {
    let money = Form { places: Some(2), ..Form::default() };
    let signs = [("<", None), ("=", None), (">", None)];
    let givens = [("a", "12.4"), ("b", "3.57"), ("c", "0.25")];
    let sample =
        |expression: &str| Sample::new("chain", &givens).plain("first", "a + b").plain("next", expression);
    let items = [
        sample("first - c").item(),
        sample("first * c").item(),
        sample("round(first / c, 1)").item(),
        sample("round(first * c, 2) + max(first, a, 20)").item(),
        sample("min(first, a) + a * b").item(),
        sample("smallest_at_least(first, 10, 20, 40) - first").item(),
        sample("a - (20 - first)").item(),
        sample("whole(first) + c").item(),
        sample("digit(first, 1) + digit(first * 10, 0)").item(),
        sample("whole(first * c) * digit(first, 2)").item(),
        sample("first + c").plain("last", "next - first").item(),
        sample("first + c").choice("sign", "first ? next", &signs).item(),
        sample("first + c")
            .choice("sign", "next ? 16", &signs)
            .choice("again", "first ? a + b", &signs)
            .item(),
        Sample::new("rounds", &givens)
            .number(
                "first",
                "a + b",
                Rule::Rounded { to: Precision::Places(1), ties: Ties::HalfUp },
                Form::default(),
                None,
            )
            .number(
                "next",
                "first * c",
                Rule::Rounded { to: Precision::Places(2), ties: Ties::HalfUp },
                Form::default(),
                None,
            )
            .number("near", "next + a", Rule::Absolute { tolerance: decimal("0.05") }, Form::default(), None)
            .number("share", "near * 2", Rule::Relative { percent: decimal("5") }, Form::default(), None)
            .item(),
        Sample::new("money", &givens)
            .number("cost", "a + b", Rule::Exact, money, Some("$"))
            .number("change", "20 - cost", Rule::Exact, Form { credit: Credit::Full, ..money }, Some("$"))
            .item(),
        Sample::new("limits", &givens)
            .plain("total", "a + b")
            .choice(
                "limit",
                "smallest_at_least(total, 15, 20, 30)",
                &[("15 kg", Some("15")), ("20 kg", Some("20")), ("30 kg", Some("30"))],
            )
            .plain("left", "limit - total")
            .item(),
    ];
    let mut followed = 0;
    for item in &items {
        followed += assert_agree_on_many(item, 300).get("FollowThrough").copied().unwrap_or_default();
    }
    assert!(followed > 100, "follow-through was hardly tried: {followed}");
}

#[test]
fn no_credit_follows_from_a_value_that_falls_below_zero_on_the_way() {
    let givens = [("a", "12.4"), ("b", "3.57")];
    let item = Sample::new("below", &givens).plain("first", "a + b").plain("next", "a - (20 - first)").item();
    let exported = mapped(&item).player;
    // 20 - 25 cannot be worked yet, though 12.4 - (20 - 25) would be 17.4; 20 - 19.5 can; 12.4 - 0 is no work.
    for (first, next, verdict) in [
        ("25", "17.4", Verdict::Wrong),
        ("19.5", "11.9", Verdict::FollowThrough),
        ("20", "12.4", Verdict::Wrong),
    ] {
        let marked = assert_agree(&item, &exported, &responses(&[("first", first), ("next", next)]));
        assert_eq!(marked.steps[1].verdict, verdict, "{first}");
    }
}

#[test]
fn the_limits_of_follow_through_are_those_of_the_projects_own_marking() {
    let givens = [("a", "12.4"), ("b", "3.57"), ("c", "0.5")];
    for (expression, first, next, verdict) in [
        ("first * c", "1", "0.5", Verdict::Wrong),
        ("first * c", "0", "0", Verdict::Wrong),
        ("first + c", "0", "0.5", Verdict::Wrong),
        ("first + c", "1", "1.5", Verdict::FollowThrough),
        ("20 - first", "0", "20", Verdict::Wrong),
        ("31.94 / first", "1", "31.94", Verdict::Wrong),
        ("first * c", "15970", "7985", Verdict::Wrong),
        ("first * c", "15969.9", "7984.95", Verdict::FollowThrough),
        ("first * c", "0.01597", "0.007985", Verdict::Wrong),
        ("first * c", "0.016", "0.008", Verdict::FollowThrough),
        ("max(first, c)", "0", "0.5", Verdict::Wrong),
    ] {
        let item = Sample::new("limits", &givens).plain("first", "a + b").plain("next", expression).item();
        let given = responses(&[("first", first), ("next", next)]);
        let marked = assert_agree(&item, &mapped(&item).player, &given);
        assert_eq!(marked.steps[1].verdict, verdict, "{expression} from {first}");
    }
}

#[test]
fn intervals_even_ties_and_part_credit_score_as_the_projects_own_marking() {
    let interval = Rule::Interval { from: decimal("15.5"), to: decimal("16.25") };
    let even = Rule::Rounded { to: Precision::Places(1), ties: Ties::Even };
    let part = Form { places: Some(2), credit: Credit::Part, ..Form::default() };
    let givens = [("a", "12.4"), ("b", "3.57"), ("c", "3.05")];
    let item = Sample::new("more", &givens)
        .number("near", "a + b", interval.clone(), Form::default(), Some("kg"))
        .number("nearer", "near", interval, Form::default(), None)
        .number("even", "c", even.clone(), Form::default(), None)
        .number("cost", "a + b", Rule::Exact, part, Some("$"))
        .item();
    assert_agree_on_many(&item, 300);
    let exported = mapped(&item).player;
    for (near, verdict) in [
        ("15.5", Verdict::Correct),
        ("16.25", Verdict::Correct),
        ("15.49", Verdict::Wrong),
        ("16.251", Verdict::Wrong),
    ] {
        let marked = assert_agree(&item, &exported, &responses(&[("near", near), ("even", "3.0")]));
        assert_eq!((marked.steps[0].verdict, marked.steps[2].verdict), (verdict, Verdict::Correct), "{near}");
    }
    let item =
        Sample::new("even", &givens).plain("first", "c").number("next", "first", even, Form::default(), None);
    let [left_out] = &mapped(&item.item()).left_out[..] else { panic!("one thing is left out") };
    assert_eq!((left_out.what, &left_out.reason), (Loss::FollowThrough, &Reason::HalfEven));
}

#[test]
fn ties_are_rounded_up_whatever_their_binary_form() {
    // Hundredfold, these fall a hair below the half in binary.
    for own in ["0.145", "0.285", "0.565", "1.005", "2.675"] {
        let item = Sample::new("ties", &[("a", "0.1"), ("b", "0.02")])
            .plain("first", "a + b")
            .plain("next", "round(first, 2)")
            .item();
        let names: Names = [("first".into(), decimal(own))].into();
        let rounded = evaluate(&Columns, &"round(first, 2)".parse().unwrap(), &names);
        let qbank::arithmetic::Value::Number(rounded) = rounded.unwrap() else { panic!("a number") };
        let given = responses(&[("first", own), ("next", &rounded.to_string())]);
        let marked = assert_agree(&item, &mapped(&item).player, &given);
        assert_eq!(marked.steps[1].verdict, Verdict::FollowThrough, "{own}");
    }
}

#[test]
fn digits_are_cut_off_whatever_their_binary_form() {
    // Hundredfold, these fall a hair below the whole number in binary.
    for own in ["0.29", "0.57", "0.58", "1.13", "1.14", "2.01", "4.35", "8.2", "16.08"] {
        let item = Sample::new("digits", &[("a", "0.11"), ("b", "0.02")])
            .plain("first", "a + b")
            .plain("next", "digit(first, 2)")
            .plain("whole", "whole(first * 100)")
            .item();
        let names: Names = [("first".into(), decimal(own))].into();
        let found =
            |expression: &str| evaluate(&Columns, &expression.parse().unwrap(), &names).unwrap().to_string();
        let (digit, whole) = (found("digit(first, 2)"), found("whole(first * 100)"));
        let marked = assert_agree(
            &item,
            &mapped(&item).player,
            &responses(&[("first", own), ("next", &digit), ("whole", &whole)]),
        );
        assert_eq!(marked.steps[2].verdict, Verdict::FollowThrough, "{own}");
    }
}

#[test]
fn units_and_commas_beside_a_right_value_are_read_from_the_text() {
    let item = Sample::new("units", &[("a", "1240"), ("b", "3.5")])
        .number("mass", "a + b", Rule::Exact, Form::default(), Some("kg"))
        .number("cost", "a - b", Rule::Exact, Form { places: Some(2), ..Form::default() }, Some("$"))
        .item();
    let exported = mapped(&item);
    for (mass, cost) in
        [("1243.5 kg", "$1236.50"), ("1,243.50 Kilograms", "$ 1,236.50"), ("1243.5KG", "1236.50 dollars")]
    {
        let marked = assert_agree(&item, &exported.player, &responses(&[("mass", mass), ("cost", cost)]));
        assert_eq!(marked.points, marked.max, "{mass} {cost}");
    }
    let marked =
        assert_agree(&item, &exported.player, &responses(&[("mass", "1243.5"), ("cost", "$1236.5")]));
    assert_eq!(marked.steps[1].verdict, Verdict::RightValueWrongForm);
}

#[test]
fn a_demanded_unit_is_checked_in_the_text() {
    let form = Form { unit: true, ..Form::default() };
    let item = Sample::new("unit", &[("a", "12.4"), ("b", "3.57")])
        .number("mass", "a + b", Rule::Exact, form, Some("kg"))
        .item();
    let exported = mapped(&item);
    for (text, verdict) in [("15.97 kg", Verdict::Correct), ("15.97", Verdict::RightValueWrongForm)] {
        let marked = assert_agree(&item, &exported.player, &responses(&[("mass", text)]));
        assert_eq!(marked.steps[0].verdict, verdict, "{text}");
    }
}

#[test]
fn what_cannot_follow_is_reported_by_item_and_step() {
    let givens = [("a", "12.4"), ("b", "3.57")];
    let unit = Form { unit: true, ..Form::default() };
    let cases = [
        (
            Sample::new("unit", &givens)
                .number("first", "a + b", Rule::Exact, unit, Some("kg"))
                .plain("next", "first - b"),
            Reason::UnitInResponse { step: "first".into() },
        ),
        (
            Sample::new("words", &givens).plain("first", "a + b").words("next", "first"),
            Reason::InWords { step: "next".into() },
        ),
        (
            Sample::new("after-words", &givens).words("first", "a").plain("next", "first - b"),
            Reason::InWords { step: "first".into() },
        ),
        (
            Sample::new("digit", &givens).plain("first", "a + b").plain("next", "digit(first, 5)"),
            Reason::DigitTooFar { place: 5, most: 4 },
        ),
        (
            Sample::new("limit", &givens)
                .plain("first", "a + b")
                .plain("next", "smallest_at_least(a, first, 20)"),
            Reason::LimitFromStep,
        ),
        (
            Sample::new("figures", &givens).plain("first", "a + b").number(
                "next",
                "first * b",
                Rule::Rounded { to: Precision::Figures(2), ties: Ties::HalfUp },
                Form::default(),
                None,
            ),
            Reason::SignificantFigures,
        ),
    ];
    for (sample, reason) in cases {
        let item = sample.item();
        let exported = mapped(&item);
        let [left_out] = &exported.left_out[..] else { panic!("{:?}", exported.left_out) };
        assert_eq!((left_out.item.as_str(), left_out.step.as_str()), (item.id.as_str(), "next"));
        assert_eq!((left_out.what, &left_out.reason), (Loss::FollowThrough, &reason));
        assert!(exported.item.outcomes.iter().all(|outcome| outcome.identifier.as_str() != "EXPECTED_next"));
        assert_agree(&item, &exported.player, &item.right_responses());
    }
}

#[test]
fn points_for_another_form_than_a_decimal_are_reported_as_left_out() {
    let left_out = |credit: Credit| {
        let form = Form { decimal: true, credit, ..Form::default() };
        let item = Sample::new("decimal", &[("a", "0.5"), ("b", "0.25")])
            .number("share", "a + b", Rule::Exact, form, None)
            .item();
        let exported = mapped(&item);
        assert_agree(&item, &exported.player, &item.right_responses());
        let points = mark(&item, "p-01", &responses(&[("share", "3/4")])).points;
        let session = exported.player.play(&responses(&[("share", "3/4")]), 1);
        assert_eq!(session.float("SCORE"), Some(0.0));
        (points, exported.left_out)
    };
    // Without credit, the package and the own marking give nothing alike.
    assert_eq!(left_out(Credit::None), (0, Vec::new()));
    for credit in [Credit::Part, Credit::Full] {
        let (points, left_out) = left_out(credit);
        assert!(points > 0, "{credit:?}");
        let told: Vec<String> = left_out.iter().map(ToString::to_string).collect();
        let message = "item 'decimal', step 'share': no written form, because the right value that is no decimal \
                       earns points, and no engine reads it";
        assert_eq!(told, [message]);
    }
}

#[test]
fn feedback_says_every_misconceptions_sentence_and_never_the_answer() {
    for family in bank::families().unwrap() {
        for item in family.draws("feedback", 0, "en-US").take(4).map(Result::unwrap) {
            let exported = mapped(&item).item;
            for (step, proven) in item.steps_proven() {
                for wrong in &proven.wrong {
                    let identifier = wrong.misconceptions.join(".");
                    let told = exported.feedback.iter().filter(|feedback| {
                        feedback.identifier.as_str() == identifier
                            && feedback.outcome.as_str() == format!("FEEDBACK_{}", step.id)
                    });
                    let told: Vec<_> = told.collect();
                    assert_eq!(told.len(), 1, "{} {identifier}", item.id);
                    let text = format!("{:?}", told[0].content);
                    for id in &wrong.misconceptions {
                        assert!(
                            text.contains(qbank::misconceptions::find(id).unwrap().pupil(Language::English)),
                            "{text}"
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn the_solution_is_shown_only_when_nothing_is_left_to_gain() {
    let item = Sample::new("solution", &[("a", "12.4"), ("b", "3.57")]).plain("sum", "a + b").item();
    let shown = |attempts: u32, attempt: u32, text: &str| {
        let exported = map_item(&item, Solution::AfterLastAttempt, attempts).unwrap().item;
        Player::of(&exported).play(&responses(&[("sum", text)]), attempt).text("SOLUTION").is_some()
    };
    assert!(shown(1, 1, "1"));
    assert!(!shown(1, 1, ""));
    assert!(!shown(3, 1, "1"));
    assert!(!shown(3, 2, "1"));
    assert!(shown(3, 3, "1"));
    assert!(shown(3, 1, "15.97"));
    assert!(!shown(0, 9, "1"));
    assert!(shown(0, 9, "15.97"));
    let withheld = map_item(&item, Solution::Withheld, 1).unwrap().item;
    assert!(Player::of(&withheld).play(&responses(&[("sum", "15.97")]), 1).text("SOLUTION").is_none());
}
