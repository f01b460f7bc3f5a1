//! An item played with its declared correct response, with none, and with wrong ones.
use std::collections::BTreeMap;

use super::report::{Check, Topic, Verdict};
use crate::processor::{
    Failure, Item, Play, Reason, Response, Scalar, Session, Value,
    body::{Choosing, Interaction, InteractionKind},
    declarations::Role,
};

/// Responses by variable.
pub(super) type Responses = BTreeMap<String, Response>;

/// Plays an item without template. `known` are right responses by response variable for those that declare none.
pub(super) fn judge_answers(item: &Item, known: Option<Responses>) -> Vec<Check> {
    let played = Session::begin(item, Play::Drawn("examined"))
        .map_err(|failure| stopped(Topic::CorrectResponse, &failure));
    let session = match played {
        Ok(session) => session,
        Err(check) => return vec![check],
    };
    let known = known.unwrap_or_default();
    let right = match right_responses(item, &session, &known) {
        Ok(right) => right,
        Err(reason) => return vec![Check::new(Topic::CorrectResponse, Verdict::CannotJudge, reason)],
    };
    let trial = Trial { item, play: Play::Drawn("examined") };
    let full = match trial.full_score(&right) {
        Ok(full) => full,
        Err(check) => return vec![check],
    };
    let told = format!("the declared correct response gets {full} points");
    vec![Check::holds(Topic::CorrectResponse, told), trial.wrong(&right, full)]
}

/// What stopped the processor, as a check.
pub(super) fn stopped(topic: Topic, failure: &Failure) -> Check {
    match failure.reason {
        Reason::Unsupported(_) => Check::new(topic, Verdict::CannotJudge, failure.to_string()),
        _ => Check::fails(topic, failure),
    }
}

/// The correct response of every interaction, as declared, or as otherwise known.
pub(super) fn right_responses(
    item: &Item,
    session: &Session<'_>,
    known: &Responses,
) -> Result<Responses, String> {
    let right = item.body.interactions.iter().map(|interaction| {
        let name = interaction.response.as_str();
        let declared = Some(session.correct(name)).filter(|value| !value.is_null());
        let declared = declared.map(|value| Response::Value(value.clone()));
        let right = declared.or_else(|| known.get(name).cloned());
        let right = right.ok_or_else(|| format!("no correct response is declared for '{name}'"))?;
        Ok((name.to_owned(), right))
    });
    right.collect()
}

/// An item to be tried in sessions that begin alike.
pub(super) struct Trial<'t> {
    pub(super) item: &'t Item,
    pub(super) play: Play<'t>,
}

/// What a session ends with.
pub(super) struct Scored {
    pub(super) score: f64,
    /// The most that can be reached, where it is stated.
    pub(super) most: Option<f64>,
}

impl Trial<'_> {
    /// A session with one attempt.
    pub(super) fn session(&self, responses: &Responses) -> Result<Session<'_>, Failure> {
        let mut session = Session::begin(self.item, self.play)?;
        session.attempt(responses)?;
        Ok(session)
    }

    pub(super) fn score(&self, responses: &Responses) -> Result<Option<Scored>, Failure> {
        let session = self.session(responses)?;
        let Some(score) = session.value("SCORE").as_float() else { return Ok(None) };
        let stated = session.value("MAXSCORE").as_float().filter(|most| *most > 0.0);
        let normal = self.item.declaration("SCORE").and_then(|declaration| match declaration.role {
            Role::Outcome { maximum, .. } => maximum,
            _ => None,
        });
        Ok(Some(Scored { score, most: stated.or(normal) }))
    }

    /// The score of the correct response, if it is the full one.
    pub(super) fn full_score(&self, right: &Responses) -> Result<f64, Check> {
        let topic = Topic::CorrectResponse;
        let scored = self.score(right).map_err(|failure| stopped(topic, &failure))?;
        let scored = scored.ok_or_else(|| {
            Check::new(
                topic,
                Verdict::CannotJudge,
                "the outcome 'SCORE' holds no number after the correct response",
            )
        })?;
        match scored {
            Scored { score, most: Some(most) } if score < most => Err(Check::fails(
                topic,
                &format!("the declared correct response gets {score} of {most} points"),
            )),
            Scored { score, .. } if score <= 0.0 => {
                Err(Check::fails(topic, &format!("the declared correct response gets {score} points")))
            }
            Scored { score, .. } => Ok(score),
        }
    }

    /// Leaves all blank, and gets each interaction wrong in turn.
    pub(super) fn wrong(&self, right: &Responses, full: f64) -> Check {
        let topic = Topic::WrongResponses;
        let mut tried = 0;
        let mut all = vec![("no response at all".to_owned(), Responses::new())];
        for interaction in &self.item.body.interactions {
            all.extend(wrong_ones(interaction, &right[&interaction.response]).into_iter().map(
                |(told, wrong)| {
                    let mut responses = right.clone();
                    responses.insert(interaction.response.clone(), wrong);
                    (format!("'{told}' for '{}'", interaction.response), responses)
                },
            ));
        }
        for (told, responses) in all {
            match self.score(&responses) {
                Ok(Some(scored)) if scored.score >= full => {
                    return Check::fails(
                        topic,
                        &format!("{told} gets {} points, as the correct response", scored.score),
                    );
                }
                Ok(_) => tried += 1,
                Err(failure) => return stopped(topic, &failure),
            }
        }
        Check::holds(topic, format!("{tried} wrong responses get less"))
    }
}

/// Some wrong responses to one interaction, each in words.
fn wrong_ones(interaction: &Interaction, right: &Response) -> Vec<(String, Response)> {
    match &interaction.kind {
        InteractionKind::TextEntry { .. } => wrong_texts(right),
        InteractionKind::Choice(choosing)
        | InteractionKind::InlineChoice(choosing)
        | InteractionKind::Order(choosing) => wrong_choices(choosing, right, &interaction.kind),
        InteractionKind::Other(_) => Vec::new(),
    }
}

/// Numbers with the point moved and numbers far away; texts that nobody would take.
fn wrong_texts(right: &Response) -> Vec<(String, Response)> {
    let number = match right {
        Response::Value(value) => value.as_float(),
        Response::Text(text) => text.trim().parse().ok(),
        Response::Chosen(_) => None,
    };
    let texts = match number {
        Some(0.0) => vec!["10".to_owned(), "-1".to_owned()],
        Some(number) => [number * 10.0, number / 10.0, number + number.abs() * 2.0 + 1.0]
            .map(|one| one.to_string())
            .into(),
        None => vec!["?".to_owned(), "0".to_owned()],
    };
    texts.into_iter().map(|text| (text.clone(), Response::Text(text))).collect()
}

/// Every other single choice; more, fewer, or another order of several.
fn wrong_choices(choosing: &Choosing, right: &Response, kind: &InteractionKind) -> Vec<(String, Response)> {
    let right: Vec<String> = match right {
        Response::Value(value) => value.scalars().iter().map(Scalar::to_string).collect(),
        Response::Chosen(chosen) => chosen.clone(),
        Response::Text(_) => Vec::new(),
    };
    let mut wrong: Vec<Vec<String>> = if matches!(kind, InteractionKind::Order(_)) {
        (1..right.len())
            .map(|places| {
                let mut turned = right.clone();
                turned.rotate_left(places);
                turned
            })
            .chain([right.iter().rev().cloned().collect()])
            .collect()
    } else if right.len() == 1 {
        choosing.choices.iter().map(|choice| vec![choice.clone()]).collect()
    } else {
        vec![right.iter().skip(1).cloned().collect()]
    };
    wrong.retain(|one| *one != right && !one.is_empty());
    wrong.into_iter().map(|chosen| (chosen.join(", "), Response::Chosen(chosen))).collect()
}

/// Whether two values are the same, numbers to the last digits of a float.
pub(super) fn alike(one: &Value, other: &Value) -> bool {
    match (one.as_float(), other.as_float()) {
        (Some(one), Some(other)) => (one - other).abs() <= 1e-9 * one.abs().max(1.0),
        _ => one.same(other),
    }
}
