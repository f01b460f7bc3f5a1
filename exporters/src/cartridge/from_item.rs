//! From a proven item to items of the cartridge's profile: one for each step.
//!
//! The profile has one interaction an item and no variables, so a question of several steps is taken apart. Each part
//! tells the story again, and what was asked before where the step builds on it, but never an earlier answer. Typed
//! answers are compared with the lists of `spelling`; an order becomes a choice between the right one and
//! those that misconceptions lead to.
use qbank::{
    locale::Language,
    misconceptions,
    question::{Item, Key, ProvenStep, Step, StepKind, Wrong},
};

use smol_str::SmolStr;

use super::{
    CartridgeError,
    model::{CartridgeItem, Choice, Choices, Condition, Feedback, Interaction, Material, Profile, Test},
    report::{LeftOut, Loss},
    spelling::Speller,
};
use crate::qti::wording::Wording;

/// Names of feedback.
const RIGHT: &str = "right";
const FORM: &str = "form";
const OTHER: &str = "other";

/// The items that a question becomes, and what they lose.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Mapped {
    /// One for each step that the profile can express.
    pub items: Vec<CartridgeItem>,
    /// What is lost.
    pub left_out: Vec<LeftOut>,
}

/// Maps an item of a section.
///
/// # Errors
/// [`CartridgeError::Locale`].
pub fn map_item(item: &Item, section: &str) -> Result<Mapped, CartridgeError> {
    let language = Language::of_locale(&item.locale).ok_or_else(|| CartridgeError::Locale {
        item: item.id.to_string(),
        locale: item.locale.to_string(),
    })?;
    let mut mapped = Mapped::default();
    for (index, (step, proven)) in item.steps_proven().enumerate() {
        let words = Wording::of(language);
        let mapping = StepMapping { item, step, proven, index, language, words, losses: Vec::new() };
        mapping.map(section, &mut mapped);
    }
    Ok(mapped)
}

/// How a step can be answered and judged.
struct Judged {
    profile: Profile,
    interaction: Interaction,
    conditions: Vec<Condition>,
    feedback: Vec<Feedback>,
}

struct StepMapping<'i> {
    item: &'i Item,
    step: &'i Step,
    proven: &'i ProvenStep,
    /// Which step of the question, from 0.
    index: usize,
    language: Language,
    words: &'static Wording,
    losses: Vec<Loss>,
}

impl StepMapping<'_> {
    fn map(mut self, section: &str, mapped: &mut Mapped) {
        if self.builds_on().next().is_some() {
            self.losses.push(Loss::FollowThrough);
        }
        let judged = match &self.proven.key {
            Key::Number(_) => self.typed(),
            Key::Choice(id) => Some(self.choice(id)),
            Key::Order(ids) => self.order(ids),
        };
        let (item, step) = (&self.item.id, &self.step.id);
        if let Some(Judged { profile, interaction, conditions, feedback }) = judged {
            mapped.items.push(CartridgeItem {
                identifier: if self.item.steps.len() > 1 {
                    format!("{item}.{step}")
                } else {
                    item.to_string()
                },
                title: match self.label() {
                    Some(label) => format!("{}: {label}", self.item.title),
                    None => self.item.title.to_string(),
                },
                profile,
                weighting: Some(self.step.points.to_string()),
                category: Some(section.to_owned()),
                prompt: self.prompt(),
                interaction,
                conditions,
                feedback,
            });
        } else {
            // Of a step that is not there, nothing else is lost.
            self.losses.retain(|loss| loss.is_whole_step());
        }
        let left_out = |loss| LeftOut { item: item.to_string(), step: step.to_string(), loss };
        mapped.left_out.extend(self.losses.into_iter().map(left_out));
    }

    fn label(&self) -> Option<String> {
        self.words.step_label(self.index, self.item.steps.len())
    }

    /// The earlier steps that this one builds on.
    fn builds_on(&self) -> impl Iterator<Item = &Step> {
        let names = self.proven.expression.names();
        self.item.steps[..self.index].iter().filter(move |step| names.contains(&step.id.as_str()))
    }

    /// The story, what was asked before where that is needed, and what is asked.
    fn prompt(&self) -> Material {
        let asked = match &self.step.unit {
            Some(unit) if self.step.kind == StepKind::Number => format!("{} ({unit})", self.step.prompt),
            _ => self.step.prompt.to_string(),
        };
        let demand = self.step.accept.explained(self.language);
        let story = self.item.stem.lines().map(str::trim);
        let earlier = self.builds_on().map(|step| step.prompt.as_str());
        let told = story.chain(earlier).chain([asked.as_str(), demand.as_str()]);
        Material::paragraphs(told.filter(|text| !text.is_empty()))
    }

    /// A number, in digits or in words.
    fn typed(&mut self) -> Option<Judged> {
        let speller = Speller::new(self.item, self.step, self.proven);
        let Some(right) = speller.right() else {
            self.losses.push(Loss::TooManyValues);
            return None;
        };
        if right.others {
            self.losses.push(Loss::ValuesBetween);
        }
        let mut judging = Judging::new(self.words);
        for spellings in right.spellings {
            let (feedback, text) = if spellings.in_form {
                (RIGHT, Material::paragraphs([self.words.right]))
            } else {
                let demand = self.step.accept.explained(self.language);
                (FORM, Material::paragraphs([self.words.form, demand.as_str()]))
            };
            judging.add(spellings.texts, false, spellings.score, feedback, text);
        }
        if !judging.can_be_right() {
            self.losses.push(Loss::NoSpelling);
            return None;
        }
        for (number, wrong) in self.proven.wrong.iter().enumerate() {
            judging.add(speller.wrong(&wrong.key), false, 0, &format!("wrong_{number}"), self.told(wrong));
        }
        Some(judging.finish(Profile::FillIn, Interaction::Text))
    }

    fn choice(&self, key: &str) -> Judged {
        let choices = self.step.choices.iter().map(|choice| Choice {
            identifier: choice.id.to_string(),
            text: Material::Plain(choice.text.to_string()),
        });
        let choices = Choices { shuffle: false, choices: choices.collect() };
        let wrong = self.proven.wrong.iter().filter_map(|wrong| match &wrong.key {
            Key::Choice(id) => Some((id.to_string(), wrong)),
            Key::Number(_) | Key::Order(_) => None,
        });
        self.chosen(key.to_owned(), wrong, choices)
    }

    /// The right order beside those that misconceptions lead to, in the order of their texts.
    fn order(&mut self, key: &[SmolStr]) -> Option<Judged> {
        let text = |ids: &[SmolStr]| {
            let text = |id: &SmolStr| {
                self.step
                    .choices
                    .iter()
                    .find(|choice| choice.id == *id)
                    .map_or(id.to_string(), |choice| choice.text.to_string())
            };
            ids.iter().map(text).collect::<Vec<_>>().join("; ")
        };
        let name = |ids: &[SmolStr]| ids.join(".");
        let wrong: Vec<(&Vec<SmolStr>, &Wrong)> = self
            .proven
            .wrong
            .iter()
            .filter_map(|wrong| match &wrong.key {
                Key::Order(ids) => Some((ids, wrong)),
                Key::Number(_) | Key::Choice(_) => None,
            })
            .collect();
        if wrong.is_empty() {
            self.losses.push(Loss::OrderAlone);
            return None;
        }
        let all = wrong.iter().map(|(ids, _)| ids.as_slice()).chain([key]);
        let mut offered: Vec<(String, String)> = all.map(|ids| (text(ids), name(ids))).collect();
        offered.sort();
        let choice = |(text, identifier)| Choice { identifier, text: Material::Plain(text) };
        let choices = Choices { shuffle: true, choices: offered.into_iter().map(choice).collect() };
        let named = wrong.into_iter().map(|(ids, wrong)| (name(ids), wrong));
        let judged = self.chosen(name(key), named, choices);
        self.losses.push(Loss::OrderChosen);
        Some(judged)
    }

    fn chosen<'w>(
        &self,
        key: String,
        wrong: impl Iterator<Item = (String, &'w Wrong)>,
        choices: Choices,
    ) -> Judged {
        let mut judging = Judging::new(self.words);
        judging.add(vec![key], true, 100, RIGHT, Material::paragraphs([self.words.right]));
        for (number, (id, wrong)) in wrong.enumerate() {
            judging.add(vec![id], true, 0, &format!("wrong_{number}"), self.told(wrong));
        }
        judging.finish(Profile::MultipleChoice, Interaction::One(choices))
    }

    /// What the pupil is told of a wrong answer.
    fn told(&self, wrong: &Wrong) -> Material {
        let known = wrong.misconceptions.iter().filter_map(|id| misconceptions::find(id));
        Material::paragraphs(known.map(|misconception| misconception.pupil(self.language)))
    }
}

/// The conditions of an item as far as they are known.
struct Judging {
    words: &'static Wording,
    conditions: Vec<Condition>,
    feedback: Vec<Feedback>,
}

impl Judging {
    fn new(words: &'static Wording) -> Self {
        Self { words, conditions: Vec::new(), feedback: Vec::new() }
    }

    /// Responses that earn `score` and are told `text`; nothing where there are none.
    fn add(&mut self, responses: Vec<String>, case: bool, score: u32, feedback: &str, text: Material) {
        let mut tests: Vec<Test> = responses.into_iter().map(|text| Test::Equals { text, case }).collect();
        let test = match tests.len() {
            0 => return,
            1 => tests.remove(0),
            _ => Test::Or(tests),
        };
        self.push(test, score, feedback, text);
    }

    fn push(&mut self, test: Test, score: u32, feedback: &str, text: Material) {
        let shows = vec![feedback.to_owned()];
        self.conditions.push(Condition { test, score: Some(score.to_string()), shows, continues: false });
        if self.feedback.iter().all(|known| known.identifier != feedback) {
            self.feedback.push(Feedback { identifier: feedback.to_owned(), text });
        }
    }

    fn can_be_right(&self) -> bool {
        self.conditions.iter().any(|condition| condition.score.as_deref() == Some("100"))
    }

    fn finish(mut self, profile: Profile, interaction: Interaction) -> Judged {
        self.push(Test::Other, 0, OTHER, Material::paragraphs([self.words.other]));
        let Self { conditions, feedback, .. } = self;
        Judged { profile, interaction, conditions, feedback }
    }
}
