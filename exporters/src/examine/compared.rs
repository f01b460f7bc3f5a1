//! An item of ours against the question it claims to be, drawn again and proven: keys, words, and what each predicted
//! wrong answer gets.
use std::collections::BTreeMap;

use qbank::{
    decimal::Decimal,
    family::Family,
    locale::Language,
    marking::{Marker, Policy},
    question::{Item as Question, Key, Step, StepKind},
};

use super::{
    playing::{Responses, Trial, stopped},
    report::{Check, Topic, Verdict},
};
use crate::{
    packages::{
        Claim, Resource,
        redraw::{RedrawError, redraw},
    },
    processor::{Item, Play, Response, Scalar, Session, read_item},
    qti::{PackageOptions, from_item::map_item, write::write_item},
};

/// The question that an item claims to be.
pub(super) struct Compared(Question);

type Texts = BTreeMap<String, String>;

impl Compared {
    /// Draws it again; `None` for a template, which is no question yet.
    pub(super) fn with(
        claim: &Claim,
        resource: &Resource,
        families: &[Family],
    ) -> Result<Option<Self>, Check> {
        let drawn = match claim {
            Claim::Drawn(drawn) => drawn,
            Claim::Template { family, version, .. } => {
                return known_family(family, *version, families).map(|()| None);
            }
        };
        match redraw(drawn, &resource.identifier, families) {
            Ok(item) => Ok(Some(Self(item))),
            Err(error @ (RedrawError::NoFamily(_) | RedrawError::Version { .. })) => {
                Err(Check::new(Topic::Claim, Verdict::CannotJudge, error.to_string()))
            }
            Err(error) => Err(Check::fails(Topic::Claim, &error)),
        }
    }

    /// The right responses by response variable.
    pub(super) fn right_responses(&self) -> Responses {
        self.responses(&self.0.right_responses())
    }

    /// Compares the item with the question.
    pub(super) fn judge(&self, item: &Item, document: &[u8], options: &PackageOptions) -> Vec<Check> {
        let receipt = format!("drawn again, the receipt is {}", self.0.receipt);
        vec![
            Check::holds(Topic::Claim, receipt),
            self.keys(item),
            self.words(item, document, options),
            self.predictions(item),
        ]
    }

    /// Responses by step as responses by variable, which exported items name after the steps.
    fn responses(&self, texts: &Texts) -> Responses {
        let response = |step: &Step| {
            let text = texts.get(step.id.as_str()).filter(|text| !text.is_empty())?;
            let response = match step.kind {
                StepKind::Number | StepKind::Words => Response::Text(text.clone()),
                StepKind::Choice => Response::Chosen(vec![text.clone()]),
                StepKind::Order => Response::Chosen(text.split(", ").map(str::to_owned).collect()),
            };
            Some((format!("RESPONSE_{}", step.id), response))
        };
        self.0.steps.iter().filter_map(response).collect()
    }

    fn keys(&self, item: &Item) -> Check {
        let session = match Session::begin(item, Play::Drawn("examined")) {
            Ok(session) => session,
            Err(failure) => return stopped(Topic::Keys, &failure),
        };
        let right = self.0.right_responses();
        for step in &self.0.steps {
            let name = format!("RESPONSE_{}", step.id);
            let proven = &right[step.id.as_str()];
            let declared = session.correct(&name);
            let equal = match step.kind {
                StepKind::Number => declared.scalar().and_then(decimal) == proven.parse().ok(),
                StepKind::Words => declared.is_null() || declared.as_text() == Some(proven),
                StepKind::Choice | StepKind::Order => declared.to_string() == *proven,
            };
            if !equal {
                let told =
                    format!("the correct response of '{name}' is declared as {declared}, proven is {proven}");
                return Check::fails(Topic::Keys, &told);
            }
        }
        Check::holds(Topic::Keys, "the declared keys are those proven")
    }

    /// Writes the question as this program does, and compares what is shown; what is the same document shows the same.
    fn words(&self, item: &Item, document: &[u8], options: &PackageOptions) -> Check {
        let same = || Check::holds(Topic::Words, "the words shown are those of the question");
        let written = map_item(&self.0, options.solution, options.attempts).ok().and_then(|mapped| {
            let mut bytes = Vec::with_capacity(document.len());
            write_item(&mut bytes, item.version.dialect(), &mapped.item).ok().map(|()| bytes)
        });
        if written.as_deref() == Some(document) {
            return same();
        }
        let Some(expected) = written.and_then(|bytes| read_item(&bytes[..]).ok()) else {
            let told = "the question cannot be exported again, so its words cannot be compared";
            return Check::new(Topic::Words, Verdict::CannotJudge, told);
        };
        if item.body.text != expected.body.text || item.title != expected.title {
            return Check::fails(Topic::Words, &"the words of the body are not those of the question");
        }
        let feedback = |item: &Item| -> Vec<(String, String, String)> {
            let parts = item.body.feedback.iter();
            parts.map(|one| (one.variable.clone(), one.identifier.clone(), one.text.clone())).collect()
        };
        if feedback(item) != feedback(&expected) {
            return Check::fails(Topic::Words, &"the feedback is not that of the question");
        }
        same()
    }

    fn predictions(&self, item: &Item) -> Check {
        let right = self.0.right_responses();
        let marker = Marker::new(&self.0, Policy::default());
        let mut tried = 0;
        for (step, proven) in self.0.steps_proven() {
            for wrong in &proven.wrong {
                let mut texts = right.clone();
                texts.insert(step.id.to_string(), self.as_given(step, &wrong.key));
                let feedback = wrong.misconceptions.join(".");
                if let Err(check) = self.as_marked(item, &marker, &texts, step, Some(&feedback)) {
                    return check;
                }
                tried += 1;
            }
        }
        for texts in [right, Texts::new()] {
            if let Err(check) = self.as_marked(item, &marker, &texts, &self.0.steps[0], None) {
                return check;
            }
        }
        Check::holds(
            Topic::Predictions,
            format!("{tried} predicted wrong answers get their own feedback and points"),
        )
    }

    /// A wrong answer as a pupil would give it.
    fn as_given(&self, step: &Step, key: &Key) -> String {
        let language = Language::of_locale(&self.0.locale);
        let given = language.and_then(|language| step.answer_of(key, language).ok());
        given.map_or_else(|| key.to_string(), |answer| answer.to_string())
    }

    /// Whether responses get the points of our marking, and a step the feedback expected.
    fn as_marked(
        &self,
        item: &Item,
        marker: &Marker<'_>,
        texts: &Texts,
        step: &Step,
        feedback: Option<&str>,
    ) -> Result<(), Check> {
        let topic = Topic::Predictions;
        let trial = Trial { item, play: Play::Drawn("examined") };
        let session = trial.session(&self.responses(texts)).map_err(|failure| stopped(topic, &failure))?;
        let given = texts.get(step.id.as_str()).map_or("", String::as_str);
        let response = |id: &str| texts.get(id).map_or("", String::as_str);
        let points: u32 = marker.judge(response).map(|step| step.points).sum();
        let score = session.value("SCORE");
        if score.as_float() != Some(f64::from(points)) {
            let told = format!("'{given}' for '{}' gets {score} points; our marking gives {points}", step.id);
            return Err(Check::fails(topic, &told));
        }
        let Some(feedback) = feedback else { return Ok(()) };
        let found = session.value(&format!("FEEDBACK_{}", step.id));
        if found.as_text() != Some(feedback) {
            let told =
                format!("'{given}' for '{}' gets the feedback {found}; expected '{feedback}'", step.id);
            return Err(Check::fails(topic, &told));
        }
        Ok(())
    }
}

fn known_family(name: &str, version: u32, families: &[Family]) -> Result<(), Check> {
    let known = families.iter().find(|family| family.id == name).map(|family| family.version);
    let told = match known {
        Some(known) if known == version => return Ok(()),
        Some(known) => {
            format!("the family '{name}' is of version {known}, the template is of version {version}")
        }
        None => format!("there is no family '{name}' to compare it with"),
    };
    Err(Check::new(Topic::Claim, Verdict::CannotJudge, told))
}

/// The decimal that a declared number is written as.
fn decimal(scalar: &Scalar) -> Option<Decimal> {
    scalar.to_string().parse().ok()
}
