//! Questions of QTI 1.2.1, as cartridges hold them: each listed response played, and wrong ones.
use std::{
    collections::BTreeSet,
    io::{Read, Seek},
};

use super::report::{Check, Judgement, Topic, Verdict};
use crate::{
    cartridge::model::{CartridgeItem, Choices, Interaction, Profile},
    packages::Package,
};

/// Of several choices all sets are tried, up to so many choices.
const CHOICES_TRIED: usize = 12;
/// Texts that nobody would take for an answer.
const NO_ANSWERS: [&str; 2] = ["?", "no answer at all"];

/// Judges each question of a document; a document that cannot be read is one judgement.
pub(super) fn judge<R: Read + Seek>(package: &mut Package<R>, member: &str) -> Vec<Judgement> {
    let document = match package.old_questions(member) {
        Ok(document) => document,
        Err(fault) => {
            return vec![Judgement::new(member.to_owned(), vec![Check::fails(Topic::Readable, &fault)])];
        }
    };
    let unreadable = document.problems.iter().map(|problem| {
        let told = format!("line {}: {}", problem.line, problem.reason);
        Judgement::new(member.to_owned(), vec![Check::fails(Topic::Readable, &told)])
    });
    let played = document
        .items
        .iter()
        .map(|item| Judgement::new(format!("{member}, question '{}'", item.identifier), judge_item(item)));
    unreadable.chain(played).collect()
}

fn judge_item(item: &CartridgeItem) -> Vec<Check> {
    let broken = broken(item);
    if !broken.is_empty() {
        return broken.iter().map(|problem| Check::fails(Topic::References, problem)).collect();
    }
    if item.profile == Profile::Essay {
        return vec![Check::new(Topic::CorrectResponse, Verdict::CannotJudge, "it is scored by people")];
    }
    match &item.interaction {
        Interaction::Text => vec![listed(item), wrong(item, &NO_ANSWERS)],
        Interaction::One(choices) => {
            let single: Vec<Vec<&str>> =
                choices.choices.iter().map(|choice| vec![choice.identifier.as_str()]).collect();
            vec![chosen(item, &single), wrong(item, &[])]
        }
        Interaction::Several(choices) => match sets(choices) {
            Some(sets) => vec![chosen(item, &sets), wrong(item, &[])],
            None => {
                let told = format!("more than {CHOICES_TRIED} choices: not all sets of them can be tried");
                vec![Check::new(Topic::CorrectResponse, Verdict::CannotJudge, told)]
            }
        },
    }
}

/// Names that stand for nothing, and names that stand for two things.
fn broken(item: &CartridgeItem) -> Vec<String> {
    let mut problems = Vec::new();
    let feedback: BTreeSet<&str> =
        item.feedback.iter().map(|feedback| feedback.identifier.as_str()).collect();
    if feedback.len() < item.feedback.len() {
        problems.push("two feedbacks have the same identifier".to_owned());
    }
    let shown = item.conditions.iter().flat_map(|condition| &condition.shows);
    for unknown in shown.filter(|shown| !feedback.contains(shown.as_str())) {
        problems.push(format!("there is no feedback '{unknown}'"));
    }
    let (Interaction::One(choices) | Interaction::Several(choices)) = &item.interaction else {
        return problems;
    };
    let known: BTreeSet<&str> = choices.choices.iter().map(|choice| choice.identifier.as_str()).collect();
    if known.len() < choices.choices.len() {
        problems.push("two choices have the same identifier".to_owned());
    }
    let named = item.conditions.iter().flat_map(|condition| condition.test.names());
    for unknown in named.filter(|named| !known.contains(named)) {
        problems.push(format!("there is no choice '{unknown}'"));
    }
    problems
}

/// A typed text: each listed one must get what its own condition gives, and one of them all points.
fn listed(item: &CartridgeItem) -> Check {
    let topic = Topic::CorrectResponse;
    let (mut tried, mut full) = (0, 0);
    for condition in &item.conditions {
        for text in condition.test.equals() {
            let played = item.play(&[text]);
            if condition.score.is_some() && played.score != condition.score.as_deref() {
                let (own, got) = (condition.score.as_deref().unwrap_or("no"), played.score.unwrap_or("no"));
                return Check::fails(
                    topic,
                    &format!(
                        "'{text}' is listed for {own} points and gets {got}: an earlier condition holds"
                    ),
                );
            }
            tried += 1;
            full += u32::from(played.is_full());
        }
    }
    if full == 0 {
        return Check::fails(topic, &"no listed response earns all points");
    }
    Check::holds(topic, format!("{full} of {tried} listed responses earn all points"))
}

/// Choices: at least one way to choose earns all points, and not every one.
fn chosen(item: &CartridgeItem, ways: &[Vec<&str>]) -> Check {
    let full = ways.iter().filter(|way| item.play(way).is_full()).count();
    let told = format!("{full} of {} ways to choose earn all points", ways.len());
    if full == 0 || full == ways.len() {
        Check::fails(Topic::CorrectResponse, &told)
    } else {
        Check::holds(Topic::CorrectResponse, told)
    }
}

/// No response, and responses that nobody would take.
fn wrong(item: &CartridgeItem, texts: &[&str]) -> Check {
    let topic = Topic::WrongResponses;
    if item.play(&[]).is_full() {
        return Check::fails(topic, &"no response at all earns all points");
    }
    match texts.iter().find(|text| item.play(&[text]).is_full()) {
        Some(text) => Check::fails(topic, &format!("'{text}' earns all points")),
        None => Check::holds(topic, format!("{} wrong responses get less", texts.len() + 1)),
    }
}

/// Every set of choices but the empty one.
fn sets(choices: &Choices) -> Option<Vec<Vec<&str>>> {
    let names: Vec<&str> = choices.choices.iter().map(|choice| choice.identifier.as_str()).collect();
    if names.len() > CHOICES_TRIED {
        return None;
    }
    let set = |bits: u32| {
        let each = names.iter().enumerate();
        each.filter(|(place, _)| bits >> place & 1 == 1).map(|(_, name)| *name).collect()
    };
    Some((1..1_u32 << names.len()).map(set).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cartridge::model::{Choice, Condition, Material, Test};

    fn item(profile: Profile, interaction: Interaction, conditions: Vec<Condition>) -> CartridgeItem {
        let prompt = Material::Plain("How much?".into());
        let (weighting, category) = (None, None);
        let (identifier, title) = ("q".to_owned(), "Q".to_owned());
        CartridgeItem {
            identifier,
            title,
            profile,
            weighting,
            category,
            prompt,
            interaction,
            conditions,
            feedback: vec![],
        }
    }

    fn when(test: Test, score: &str) -> Condition {
        Condition { test, score: Some(score.into()), shows: vec![], continues: false }
    }

    fn equals(text: &str) -> Test {
        Test::Equals { text: text.into(), case: true }
    }

    fn told(item: &CartridgeItem) -> Vec<(Verdict, String)> {
        judge_item(item).into_iter().map(|check| (check.verdict, check.told)).collect()
    }

    fn choices(names: &[&str]) -> Choices {
        let text = Material::Plain("one".into());
        let choice = |name: &&str| Choice { identifier: (*name).to_owned(), text: text.clone() };
        Choices { shuffle: false, choices: names.iter().map(choice).collect() }
    }

    #[test]
    fn a_listed_text_behind_a_condition_that_also_holds_is_told() {
        let conditions = vec![when(Test::Other, "0"), when(equals("0.5"), "100")];
        let told = told(&item(Profile::FillIn, Interaction::Text, conditions));
        assert_eq!(
            told[0],
            (
                Verdict::DoesNotHold,
                "'0.5' is listed for 100 points and gets 0: an earlier condition holds".into()
            )
        );
    }

    #[test]
    fn what_takes_anything_is_told() {
        let conditions = vec![when(equals("0.5"), "100"), when(Test::Other, "100")];
        let told = told(&item(Profile::FillIn, Interaction::Text, conditions));
        assert_eq!(told[0].0, Verdict::Holds);
        assert_eq!(told[1], (Verdict::DoesNotHold, "no response at all earns all points".into()));
    }

    #[test]
    fn of_several_choices_every_set_is_tried() {
        let both = Test::And(vec![equals("A"), equals("C"), Test::Not(Box::new(equals("B")))]);
        let of = |names: &[&str]| {
            let interaction = Interaction::Several(choices(names));
            told(&item(Profile::MultipleResponse, interaction, vec![when(both.clone(), "100")]))
        };
        let full = "1 of 7 ways to choose earn all points".to_owned();
        assert_eq!(of(&["A", "B", "C"])[0], (Verdict::Holds, full));
        let many: Vec<String> = ('A'..='M').map(String::from).collect();
        let many: Vec<&str> = many.iter().map(String::as_str).collect();
        assert_eq!(of(&many)[0].0, Verdict::CannotJudge);
        assert_eq!(of(&["A", "A", "B", "C"])[0].1, "two choices have the same identifier");
        assert_eq!(of(&["A", "B"])[0].1, "there is no choice 'C'");
    }

    #[test]
    fn what_people_score_cannot_be_judged() {
        let told = told(&item(Profile::Essay, Interaction::Text, vec![]));
        assert_eq!(told, [(Verdict::CannotJudge, "it is scored by people".into())]);
    }
}
