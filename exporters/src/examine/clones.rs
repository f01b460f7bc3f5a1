//! A template, played with many numbers: constraints, correct responses, and the wrong answers it looks for.
use std::collections::{BTreeMap, BTreeSet};

use super::{
    playing::{Responses, Trial, alike, right_responses, stopped},
    report::{Check, Topic, Verdict},
};
use crate::processor::{
    Item, Play, Response, Session, Value,
    declarations::Role,
    expressions::{Expression, Operator},
    rules::Rule,
};

/// How many clones are played.
pub(super) const CLONES: u32 = 200;

/// Plays a template with numbers of its own drawing, and with its defaults.
pub(super) fn judge_clones(item: &Item, member: &str) -> Vec<Check> {
    let looked_for = compared_variables(item);
    let mut matches: BTreeMap<&str, [u32; 2]> = BTreeMap::new();
    let mut seen = BTreeSet::new();
    for number in 0..CLONES {
        let key = format!("{member} clone {number}");
        match judge_clone(item, Play::Drawn(&key), &looked_for, &mut matches) {
            Ok(told) => drop(seen.insert(told)),
            Err(check) => {
                let told = format!("clone {}: {}", number + 1, check.told);
                return vec![Check::new(Topic::Clones, check.verdict, told)];
            }
        }
    }
    let twofold = matches.iter().find(|(_, [same, other])| *same > 0 && *other > 0);
    let clones = match twofold {
        Some((name, [same, _])) => Check::fails(
            Topic::Clones,
            &format!(
                "'{name}', which responses are compared with, is the correct response in {same} of {CLONES} clones"
            ),
        ),
        None => Check::holds(
            Topic::Clones,
            format!("{CLONES} clones, {} different ones, are scored rightly", seen.len()),
        ),
    };
    vec![clones, judge_defaults(item, &looked_for)]
}

/// The defaults as if no draw had ever satisfied the constraints.
fn judge_defaults(item: &Item, looked_for: &[(String, String)]) -> Check {
    match judge_clone(item, Play::Defaults, looked_for, &mut BTreeMap::new()) {
        Ok(_) => Check::holds(Topic::Defaults, "the defaults satisfy the constraints and are scored rightly"),
        Err(check) => Check::new(Topic::Defaults, check.verdict, check.told),
    }
}

/// Plays one clone; what its template variables hold. `matches` counts how often each variable looked for is the correct
/// response, and how often not.
fn judge_clone<'l>(
    item: &Item,
    play: Play<'_>,
    looked_for: &'l [(String, String)],
    matches: &mut BTreeMap<&'l str, [u32; 2]>,
) -> Result<String, Check> {
    let topic = Topic::Clones;
    let session = Session::begin(item, play).map_err(|failure| stopped(topic, &failure))?;
    if let Some(line) = session.broken_default() {
        return Err(Check::fails(
            topic,
            &format!("the defaults do not satisfy the constraint in line {line}"),
        ));
    }
    if session.gave_up() && play != Play::Defaults {
        return Err(Check::fails(topic, &"no draw of 100 satisfies the constraints"));
    }
    let right = right_responses(item, &session, &Responses::new());
    let right = right.map_err(|reason| Check::new(topic, Verdict::CannotJudge, reason))?;
    let trial = Trial { item, play };
    let full = trial.full_score(&right)?;
    let wrong = trial.wrong(&right, full);
    if wrong.verdict != Verdict::Holds {
        return Err(wrong);
    }
    for (variable, response) in looked_for {
        let (value, correct) = (session.value(variable), session.correct(response));
        let same = alike(value, correct);
        if !value.is_null() {
            matches.entry(variable).or_default()[usize::from(!same)] += 1;
        }
        if !value.is_null() && !same {
            judge_looked_for(&trial, &right, full, (response, value))?;
        }
    }
    Ok(drawn_values(item, &session))
}

/// A wrong answer that the template looks for gets less than the full score.
fn judge_looked_for(
    trial: &Trial<'_>,
    right: &Responses,
    full: f64,
    (response, value): (&str, &Value),
) -> Result<(), Check> {
    let mut responses = right.clone();
    responses.insert(response.to_owned(), Response::Value(value.clone()));
    let scored = trial.score(&responses).map_err(|failure| stopped(Topic::Clones, &failure))?;
    match scored {
        Some(scored) if scored.score >= full => {
            let told =
                format!("'{value}' for '{response}' gets {} points, as the correct response", scored.score);
            Err(Check::fails(Topic::Clones, &told))
        }
        _ => Ok(()),
    }
}

fn drawn_values(item: &Item, session: &Session<'_>) -> String {
    let drawn = item.declarations.iter().filter(|declaration| declaration.role == Role::Template);
    let values: Vec<String> =
        drawn.map(|declaration| session.value(&declaration.identifier).to_string()).collect();
    values.join("|")
}

/// Template variables that response processing compares with a response, each with the response's variable.
fn compared_variables(item: &Item) -> Vec<(String, String)> {
    let is = |name: &str, template: bool| {
        item.declaration(name).is_some_and(|declaration| match declaration.role {
            Role::Template => template,
            Role::Response { .. } => !template,
            _ => false,
        })
    };
    let named = |expression: &Expression| match &expression.operator {
        Operator::Variable(name) => Some(name.clone()),
        _ => None,
    };
    let pair = |expression: &Expression| {
        if !matches!(expression.operator, Operator::Equal(_) | Operator::Match) {
            return None;
        }
        let (one, other) = (named(&expression.operands[0])?, named(&expression.operands[1])?);
        match (is(&one, true) && is(&other, false), is(&other, true) && is(&one, false)) {
            (true, _) => Some((one, other)),
            (_, true) => Some((other, one)),
            _ => None,
        }
    };
    let rules = item.response_rules().iter().flat_map(Rule::all);
    let tests = rules.flat_map(Rule::expressions).flat_map(Expression::all);
    let pairs: BTreeSet<(String, String)> = tests.filter_map(pair).collect();
    pairs.into_iter().collect()
}
