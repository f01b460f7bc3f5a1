//! A scripted class: who is in it, how each pupil answers, and what that must earn.

use std::collections::BTreeMap;

use anyhow::Context;
use qbank::arithmetic::{Library, Value, evaluate};
use qbank::expression::Names;
use qbank::locale::Language;
use qbank::marking::Limit;
use qbank::misconceptions::{self, Misconception};
use qbank::question::{Item, Key, ProvenStep, Step, StepKind};
use serde::Deserialize;

use crate::practice::Person;

/// A class.
#[derive(Debug)]
pub(super) struct Class {
    /// The course's title.
    pub(super) course: String,
    /// The teacher.
    pub(super) teacher: Person,
    /// The pupils, in the order of the gradebook.
    pub(super) pupils: Vec<Scripted>,
}

/// A pupil with a script.
#[derive(Debug)]
pub(super) struct Scripted {
    /// Who it is.
    pub(super) person: Person,
    /// How the pupil answers.
    manner: Manner,
}

/// How a pupil answers.
#[derive(Debug, Clone, Copy)]
enum Manner {
    /// Every step right.
    Right,
    /// As a misconception leads to wherever it shows; all else right from the pupil's own values.
    Holding(&'static Misconception),
    /// The first half of the questions right, nothing in the rest.
    HalfBlank,
}

/// A pupil's answers to one question.
pub(super) struct Script {
    /// Responses by step.
    pub(super) responses: BTreeMap<String, String>,
    /// What they must earn.
    pub(super) points: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClassFile {
    course: String,
    teacher: String,
    pupil: Vec<PupilFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PupilFile {
    name: String,
    answers: String,
}

impl Class {
    /// Reads a class file and takes its first `count` pupils; where it has fewer, its scripts go round again under
    /// numbered names.
    ///
    /// # Errors
    /// If the file is malformed, is empty, or names an unknown misconception.
    pub(super) fn from_toml(text: &str, count: usize) -> anyhow::Result<Self> {
        let file: ClassFile = toml::from_str(text).context("the class file")?;
        let manners = file.pupil.iter().map(Manner::of).collect::<anyhow::Result<Vec<_>>>()?;
        let round = file.pupil.iter().zip(manners).cycle().enumerate().take(count);
        let pupils: Vec<Scripted> = round
            .map(|(index, (pupil, manner))| {
                let again = index / file.pupil.len();
                let name =
                    if again == 0 { pupil.name.clone() } else { format!("{} {}", pupil.name, again + 1) };
                Scripted { person: Person { id: format!("p-{:02}", index + 1), name }, manner }
            })
            .collect();
        anyhow::ensure!(!pupils.is_empty(), "a class needs at least one pupil");
        let teacher = Person { id: "t-01".into(), name: file.teacher };
        Ok(Self { course: file.course, teacher, pupils })
    }
}

impl Manner {
    fn of(pupil: &PupilFile) -> anyhow::Result<Self> {
        Ok(match pupil.answers.as_str() {
            "right" => Self::Right,
            "blank" => Self::HalfBlank,
            id => Self::Holding(
                misconceptions::find(id).with_context(|| format!("there is no misconception '{id}'"))?,
            ),
        })
    }
}

impl Scripted {
    /// What the pupil writes for the `index`th of `count` questions, step by step, each built on the pupil's own
    /// earlier answers. An answer earns its points if it is the key, or follows rightly from those own answers within
    /// the limits of following.
    pub(super) fn answer(&self, item: &Item, index: usize, count: usize) -> Script {
        let mut script = Script { responses: BTreeMap::new(), points: 0 };
        if matches!(self.manner, Manner::HalfBlank) && index >= count / 2 {
            return script;
        }
        let mut own = item.given_names();
        let mut right = own.clone();
        for (step, proven) in item.steps_proven() {
            let right_from_own = worked(step, proven, &own).unwrap_or_else(|| proven.key.clone());
            let given = self.mistaken(step, proven, &own).unwrap_or_else(|| right_from_own.clone());
            let follows = given == right_from_own && Limit::of(&proven.expression, &own, &right).is_none();
            if (given == proven.key || follows) && fits_form(step, &given) {
                script.points += step.points;
            }
            own.extend(step.value_of(&given).map(|value| (step.id.clone(), value)));
            right.extend(proven.value.map(|value| (step.id.clone(), value)));
            script.responses.insert(step.id.to_string(), written(step, &given, &item.locale));
        }
        script
    }

    fn mistaken(&self, step: &Step, proven: &ProvenStep, own: &Names) -> Option<Key> {
        let Manner::Holding(misconception) = self.manner else {
            return None;
        };
        let value = misconceptions::predict(misconception, &proven.expression, own)?;
        step.key_for(&value).ok()
    }
}

/// The right answer from the pupil's own values, by a route that marking does not use.
fn worked(step: &Step, proven: &ProvenStep, own: &Names) -> Option<Key> {
    let value: Value = evaluate(&Library, &proven.expression, own).ok()?;
    step.key_for(&value).ok()
}

/// Whether an answer can be written in the places that the step asks for: an own value of $34.896 cannot, and money
/// in another form earns nothing.
fn fits_form(step: &Step, answer: &Key) -> bool {
    match (answer, step.accept.form.places) {
        (Key::Number(number), Some(places)) => number.with_places(places).is_some(),
        _ => true,
    }
}

/// As the pupil writes it: in the places that the step asks for, or in words.
fn written(step: &Step, answer: &Key, locale: &str) -> String {
    if step.kind == StepKind::Words {
        let told = Language::of_locale(locale).and_then(|language| step.answer_of(answer, language).ok());
        return told.map(|told| told.to_string()).unwrap_or_default();
    }
    match (answer, step.accept.form.places) {
        (Key::Number(number), Some(places)) => number.with_places(places).unwrap_or(*number).to_string(),
        _ => answer.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use qbank::marking::mark;
    use qbank::plan::Plan;

    use super::*;
    use crate::demo::{CLASS, PLAN};

    /// Whichever questions a pupil is given: what the script says that they earn is what marking gives.
    #[test]
    fn every_script_earns_what_it_says() {
        let class = Class::from_toml(CLASS, 24).unwrap();
        let families = qbank::bank::families().unwrap();
        let mut questions = 0;
        for seed in ["river-day-1", "river-day-2", "river-day-3", "river-day-4"] {
            let pool = Plan::from_toml(PLAN).unwrap().make(&families, Some(seed)).unwrap();
            for (pupil, item) in
                class.pupils.iter().flat_map(|pupil| pool.items().map(move |item| (pupil, item)))
            {
                let script = pupil.answer(item, 0, 2);
                let marked = mark(item, "p", &script.responses);
                assert_eq!(script.points, marked.points, "{:?}: {:?}\n{marked:?}", pupil.manner, item.id);
                questions += 1;
            }
        }
        assert!(questions > 5_000, "{questions}");
    }
}
