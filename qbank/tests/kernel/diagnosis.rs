//! Diagnosis: when a misconception is named, when two are, when nothing is said; which questions come next; and the
//! simulated class, smaller than in `examples/diagnosis_bar`.
use std::collections::BTreeMap;

use qbank::{
    diagnosis::{Beliefs, Diagnosis, Evidence, Group, Probe, choose_next, collisions, diagnose},
    draw::Draws,
    family::Family,
    marking::mark,
    misconceptions::{self, Misconception},
    question::Item,
};

use crate::families;

#[path = "../../examples/diagnosis_bar/simulation.rs"]
#[allow(unreachable_pub, reason = "the module of an example")]
mod simulation;
use simulation::{Bank, Choice, Pupil, SLIPS, Tally};

const SMALLER: &str = "subtract-smaller-from-larger";
const NO_TRADE: &str = "subtract-exchange-without-trade";

/// A question that asks for one difference.
fn difference(a: &str, b: &str) -> Item {
    let name = format!("less-{}-{}", a.replace('.', "p"), b.replace('.', "p"));
    let text = format!(
        "family = \"{name}\"\nversion = 1\nstandards = []\nmisconceptions = [\"{SMALLER}\", \"{NO_TRADE}\"]\n\
         [[given]]\nname = \"a\"\nvalues = [\"{a}\"]\n[[given]]\nname = \"b\"\nvalues = [\"{b}\"]\n\
         [[step]]\nid = \"left\"\nkind = \"number\"\nexpression = \"a - b\"\n\
         [text.en-US]\ntitle = \"t\"\n[text.en-US.prompt]\nleft = \"?\"\n"
    );
    let family =
        Family::from_toml(&format!("{name}.toml"), &text).unwrap_or_else(|errors| panic!("{errors}"));
    family.draw("one", 0, "en-US").unwrap()
}

fn evidence(a: &str, b: &str, answer: &str) -> Evidence {
    let item = difference(a, b);
    let responses = BTreeMap::from([("left".to_string(), answer.to_string())]);
    Evidence::of(&item, &mark(&item, "p-01", &responses))
}

fn on_subtraction(evidence: &[Evidence]) -> Diagnosis {
    let all = diagnose(evidence);
    all.into_iter().find(|diagnosis| diagnosis.group == Group::Subtraction).unwrap()
}

/// The published case 64.05 - 28.37 of the trade: each rule gives an answer of its own.
fn hit() -> Evidence {
    evidence("64.05", "28.37", "44.32")
}

#[test]
fn one_wrong_answer_names_nothing_and_a_second_names_what_fits_both() {
    assert!(on_subtraction(&[hit()]).named.is_empty());
    let both = on_subtraction(&[hit(), evidence("53.16", "17.48", "44.32")]);
    assert_eq!(both.named, [SMALLER]);
    assert_eq!((both.hits, both.contrary, both.evidence_steps), (2, 0, 2));
    assert!(both.odds >= 9, "{both:?}");
    let sentence = both.teacher().unwrap();
    assert!(sentence.starts_with("answers consistent with "), "{sentence}");
    assert!(sentence.ends_with("(2 of 2 answers where it would show)"), "{sentence}");
    assert_eq!(both.next(), [misconceptions::find(SMALLER).unwrap().next]);
}

#[test]
fn a_right_answer_where_it_would_show_silences_until_it_is_old() {
    let mut seen = vec![hit(), hit(), evidence("53.16", "17.48", "35.68")];
    let silent = on_subtraction(&seen);
    assert!(silent.named.is_empty(), "{silent:?}");
    assert_eq!((silent.odds, silent.teacher(), silent.next()), (0, None, vec![]));
    // Four newer answers that fit: the right one is no longer among the newest.
    seen.extend([hit(), hit(), hit()]);
    assert!(on_subtraction(&seen).named.is_empty());
    seen.push(hit());
    assert_eq!(on_subtraction(&seen).named, [SMALLER]);
}

#[test]
fn newer_evidence_weighs_more_than_older() {
    let right = || evidence("53.16", "17.48", "35.68");
    let believed = |seen: &[Evidence]| {
        let mut beliefs = Beliefs::default();
        seen.iter().for_each(|one| beliefs.see(one));
        beliefs.per_thousand(SMALLER)
    };
    assert!(believed(&[right(), right(), hit(), hit()]) > believed(&[hit(), hit(), right(), right()]));
}

#[test]
fn four_that_fit_name_none() {
    // 7.5 - 2.35: four procedures of the table give 5.25.
    let seen =
        [evidence("7.5", "2.35", "5.25"), evidence("8.5", "3.25", "5.35"), evidence("9.5", "4.25", "5.35")];
    let silent = on_subtraction(&seen[..1]);
    assert!(silent.named.is_empty(), "{silent:?}");
    assert!(on_subtraction(&seen).named.len() <= 2);
}

#[test]
fn blank_and_unreadable_answers_are_no_evidence() {
    assert_eq!(diagnose(&[evidence("64.05", "28.37", ""), evidence("64.05", "28.37", "no idea")]), []);
}

#[test]
fn a_later_step_is_seen_from_the_pupils_own_value() {
    // Change of a sum: the sum is wrong, the difference is right from it, which speaks against subtraction's rules.
    let family = families().iter().find(|family| family.id == "money-change").unwrap();
    let bank = Bank::sampled(std::slice::from_ref(family), 6, 6);
    for asked in &bank.candidates {
        let held = misconceptions::find("add-carry-dropped").unwrap();
        let pupil = Pupil { held: Some(held), slips: 0, everywhere: false };
        let marked = mark(&asked.item, "p-01", &pupil.answers(asked, &mut Draws::keyed("no slips")));
        let all = diagnose(&[Evidence::of(&asked.item, &marked)]);
        let subtraction = all.iter().find(|diagnosis| diagnosis.group == Group::Subtraction);
        assert!(subtraction.is_none_or(|diagnosis| diagnosis.named.is_empty()));
    }
}

#[test]
fn incremental_and_whole_judgement_agree() {
    let seen = [hit(), evidence("53.16", "17.48", "35.68"), hit()];
    let mut beliefs = Beliefs::default();
    seen.iter().for_each(|one| beliefs.see(one));
    assert_eq!(beliefs.diagnoses(), diagnose(&seen));
}

#[test]
fn equally_telling_questions_go_by_id_and_none_is_chosen_twice() {
    let items = [difference("64.05", "28.37"), difference("64.06", "28.38"), difference("14.3", "2.8")];
    let mut probes: Vec<Probe> = items.iter().map(Probe::of).collect();
    let beliefs = Beliefs::default();
    let chosen: Vec<String> =
        choose_next(&[&beliefs], &probes, 9).iter().map(|one| one.item.clone()).collect();
    assert_eq!(chosen.len(), 3);
    probes.reverse();
    let again: Vec<String> =
        choose_next(&[&beliefs], &probes, 9).iter().map(|one| one.item.clone()).collect();
    assert_eq!(chosen, again);
    // 64.06 - 28.38 adds nothing to its twin, which goes first by its id; 14.3 - 2.8 adds a little.
    assert!(chosen[0].starts_with("less-64p05") && chosen[1].starts_with("less-14p3"), "{chosen:?}");
}

#[test]
fn a_class_gets_the_questions_that_tell_most_over_all_its_pupils() {
    let named = |name: &str| families().iter().find(|family| family.id == name).unwrap();
    let items = ["add-equal", "round-tenths"].map(|name| named(name).draw("a seed", 0, "en-US").unwrap());
    let probes = items.map(|item| Probe::of(&item));
    let (add, round) = (Beliefs::about(&[Group::Addition]), Beliefs::about(&[Group::Rounding]));
    assert_eq!(choose_next(&[&add, &round, &round, &round], &probes, 1)[0].item, probes[1].item);
    assert_eq!(choose_next(&[&add, &add, &add, &round], &probes, 1)[0].item, probes[0].item);
}

#[test]
fn collisions_count_what_is_the_same_and_what_is_apart() {
    let probes = [difference("14.3", "2.8"), difference("64.05", "28.37")].map(|item| Probe::of(&item));
    let pair = |found: &[qbank::diagnosis::Collision]| {
        let ours = found.iter().find(|one| one.pair == (SMALLER, NO_TRADE)).unwrap();
        (ours.same, ours.apart)
    };
    assert_eq!(pair(&collisions(&probes)), (1, 1));
    assert_eq!(pair(&collisions(&probes[..1])), (1, 0));
    assert!(collisions(&probes[1..]).iter().all(|one| one.pair != (SMALLER, NO_TRADE)));
}

#[test]
fn names_rightly_in_a_simulated_class_and_nothing_where_nothing_is_held() {
    let bank = Bank::sampled(families(), 6, 3);
    let shown = bank.shown();
    assert!(shown.len() >= 30, "{}", shown.len());
    let tally = |choice: Choice, holders: bool| {
        let (mut tally, mut deal) = (Tally::default(), Draws::keyed("class"));
        for index in 0..60 {
            let held: Option<&'static Misconception> =
                if holders { deal.one_of(&shown).copied() } else { None };
            let mut draws = Draws::keyed(&format!("class/{holders}/{index}"));
            let pupil = Pupil { held, slips: SLIPS, everywhere: false };
            let named = pupil.examined(&bank, (choice, &Group::ALL), 12, &mut draws);
            tally.count(held, &named[11]);
        }
        tally
    };
    let (tool, chance, none) =
        (tally(Choice::Tool, true), tally(Choice::Random, true), tally(Choice::Tool, false));
    assert!(tool.right >= 48 && tool.wrong <= 1, "of 60: {tool:?}");
    assert!(tool.right >= chance.right + 15, "{tool:?} {chance:?}");
    assert_eq!(none.wrong, 0, "{none:?}");
}

#[test]
fn answers_that_fit_two_misconceptions_name_both() {
    // On 1.43 - 0.28 and its like both rules give the same answer, and no third one does.
    let cases = [("1.43", "0.28", "1.25"), ("3.52", "1.27", "2.35"), ("6.74", "2.39", "4.45")];
    let seen: Vec<Evidence> = cases.iter().map(|(a, b, answer)| evidence(a, b, answer)).collect();
    let both = on_subtraction(&seen);
    assert_eq!(both.named, [SMALLER, NO_TRADE]);
    let sentence = both.teacher().unwrap();
    assert!(sentence.contains(", or with "), "{sentence}");
    assert_eq!(both.next().len(), 2);
    // A fourth answer that only one of them gives decides.
    let decided = on_subtraction(&[seen, vec![hit()]].concat());
    assert_eq!(decided.named, [SMALLER]);
}
