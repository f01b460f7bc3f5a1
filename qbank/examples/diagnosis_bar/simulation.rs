//! A simulated class: pupils who hold one misconception or none, slip now and then, and answer the questions that the
//! tool picks. Shared by the example and by the kernel's test.
//!
//! A pupil knows nothing of predictions. Each step is answered by the bent machine on the step's expression, from the
//! pupil's own earlier values; where a family states a mistake that no rule derives, by that mistake. Misconceptions
//! that bend an operation (+ − × ÷, comparing, rounding) bend it in every question. Those on what a question is about
//! (units, place names, fractions, powers of ten, stories) are at work where the family is about that: `35 / 100` may be
//! centimetres or hundredths, and only one who is asked for metres can mistake the factor. `everywhere` drops that.
use std::collections::{BTreeMap, BTreeSet};

use qbank::{
    arithmetic::{Columns, Value, evaluate},
    decimal::Decimal,
    diagnosis::{Beliefs, Evidence, Group, Probe, choose_next},
    draw::Draws,
    expression::Names,
    family::Family,
    locale::Language,
    marking::mark,
    misconceptions::{self, Misconception, predict},
    question::{Item, Key, Step},
};

/// Slips, per thousand answers.
pub const SLIPS: u64 = 50;

/// The seed of the questions.
const QUESTIONS: &str = "diagnosis-bar";

/// An item that may be asked, with its family.
pub struct Candidate<'f> {
    pub family: &'f Family,
    pub item: Item,
}

/// What may be asked.
pub struct Bank<'f> {
    pub candidates: Vec<Candidate<'f>>,
    pub probes: Vec<Probe>,
    places: BTreeMap<String, usize>,
}

/// Who picks the questions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Choice {
    /// The tool, after each answer anew.
    Tool,
    /// Chance.
    Random,
}

impl<'f> Bank<'f> {
    /// Of the first `drawn` questions of each family, the `kept` that tell most together where nothing is known yet.
    pub fn sampled(families: &'f [Family], drawn: usize, kept: usize) -> Self {
        let (mut candidates, mut probes) = (Vec::new(), Vec::new());
        for family in families {
            let items = family.draws(QUESTIONS, 0, "en-US").take(drawn);
            let items: Vec<Item> = items.map(|item| item.unwrap_or_else(|error| panic!("{error}"))).collect();
            let all: Vec<Probe> = items.iter().map(Probe::of).collect();
            let chosen = choose_next(&[&Beliefs::default()], &all, kept);
            for item in items {
                if let Some(probe) = chosen.iter().find(|probe| probe.item == item.id) {
                    probes.push(Probe::clone(probe));
                    candidates.push(Candidate { family, item });
                }
            }
        }
        let places =
            candidates.iter().enumerate().map(|(place, one)| (one.item.id.to_string(), place)).collect();
        Self { candidates, probes, places }
    }

    /// The misconceptions that at least two of the items are about and lead astray: one could not be named from one.
    pub fn shown(&self) -> Vec<&'static Misconception> {
        let shows = |misconception: &'static Misconception, one: &Candidate<'_>| {
            let wrong = one.item.proven_steps().iter().flat_map(|proven| &proven.wrong);
            let about = wrong.flat_map(|wrong| &wrong.misconceptions).any(|id| *id == misconception.id);
            about && {
                let pupil = Pupil { held: Some(misconception), slips: 0, everywhere: false };
                let never = &mut Draws::keyed("no slips");
                let answers = pupil.answers(one, never);
                mark(&one.item, "", &answers).steps.iter().any(|step| !step.misconceptions.is_empty())
            }
        };
        let enough = |misconception: &&'static Misconception| {
            self.candidates.iter().filter(|one| shows(misconception, one)).count() >= 2
        };
        misconceptions::all().filter(enough).collect()
    }
}

/// One simulated pupil.
#[derive(Clone, Copy)]
pub struct Pupil {
    pub held: Option<&'static Misconception>,
    /// Per thousand answers.
    pub slips: u64,
    /// Whether what is held is at work in every question that its rule can bend, whatever the question is about.
    pub everywhere: bool,
}

impl Pupil {
    /// The answers to all steps of one item.
    pub fn answers(&self, asked: &Candidate<'_>, draws: &mut Draws) -> BTreeMap<String, String> {
        let item = &asked.item;
        let language = Language::of_locale(&item.locale).expect("drawn in a language with words");
        let (mut own, mut right) = (item.given_names(), item.given_names());
        let mut answers = BTreeMap::new();
        for (index, (step, proven)) in item.steps_proven().enumerate() {
            let at = Moment { asked, index, step, own: &own, everywhere: self.everywhere };
            let meant = self.held.and_then(|held| at.mistaken(held)).or_else(|| at.right());
            let slipped =
                (draws.below(1000) < self.slips).then(|| at.slip(meant.as_ref(), &proven.key, draws));
            let given = slipped.flatten().or(meant);
            let text = given.as_ref().and_then(|key| step.answer_of(key, language).ok());
            let value = given.and_then(|key| step.value_of(&key)).or(proven.value);
            answers.insert(step.id.to_string(), text.map(|answer| answer.to_string()).unwrap_or_default());
            own.extend(value.map(|value| (step.id.clone(), value)));
            right.extend(proven.value.map(|value| (step.id.clone(), value)));
        }
        answers
    }

    /// Asks `longest` questions about these groups and returns what the tool names after each of them.
    pub fn examined(
        &self,
        bank: &Bank<'_>,
        (choice, groups): (Choice, &[Group]),
        longest: usize,
        draws: &mut Draws,
    ) -> Vec<Vec<&'static str>> {
        let mut beliefs = Beliefs::about(groups);
        let mut left = bank.probes.clone();
        let mut named = Vec::new();
        while named.len() < longest && !left.is_empty() {
            let id = match choice {
                Choice::Tool => choose_next(&[&beliefs], &left, 1)[0].item.clone(),
                Choice::Random => draws.one_of(&left).expect("not empty").item.clone(),
            };
            left.retain(|probe| probe.item != id);
            let asked = &bank.candidates[bank.places[&id]];
            let marked = mark(&asked.item, "", &self.answers(asked, draws));
            beliefs.see(&Evidence::of(&asked.item, &marked));
            named.push(beliefs.diagnoses().into_iter().flat_map(|diagnosis| diagnosis.named).collect());
        }
        named
    }
}

/// One step in front of a pupil.
struct Moment<'m, 'f> {
    asked: &'m Candidate<'f>,
    index: usize,
    step: &'m Step,
    own: &'m Names,
    everywhere: bool,
}

impl Moment<'_, '_> {
    fn key(&self, value: Option<Value>) -> Option<Key> {
        self.step.key_for(&value?).ok()
    }

    fn right(&self) -> Option<Key> {
        self.key(evaluate(&Columns, &self.asked.family.steps[self.index].expression, self.own).ok())
    }

    /// What one who holds the misconception answers, if it is at work here.
    fn mistaken(&self, held: &Misconception) -> Option<Key> {
        let family_step = &self.asked.family.steps[self.index];
        let stated = family_step.mistakes.iter().find(|(mistake, _)| mistake.id == held.id);
        if let Some((_, mistaken)) = stated {
            return self.key(evaluate(&Columns, mistaken, self.own).ok());
        }
        let at_work = self.everywhere || is_about(self.asked.family, held);
        if at_work { self.key(predict(held, &family_step.expression, self.own)) } else { None }
    }

    /// Some other plausible wrong answer: one that another misconception of the family leads to, or a last digit that is
    /// one off, another choice, two neighbours of an order changed.
    fn slip(&self, meant: Option<&Key>, right: &Key, draws: &mut Draws) -> Option<Key> {
        let about = self.asked.family.all_misconceptions();
        let known = about.iter().filter_map(|id| misconceptions::find(id));
        let mut others: Vec<Key> = known.filter_map(|known| self.mistaken(known)).collect();
        match right {
            Key::Number(number) => others.extend(one_off(number).into_iter().map(Key::Number)),
            Key::Choice(_) => others.extend(self.step.choices.iter().map(|one| Key::Choice(one.id.clone()))),
            Key::Order(ids) => others.extend((1..ids.len()).map(|place| {
                let mut ids = ids.clone();
                ids.swap(place - 1, place);
                Key::Order(ids)
            })),
        }
        let own_right = self.right();
        let is_right = |key: &Key| {
            self.step.marks_right(right, key)
                || own_right.as_ref().is_some_and(|right| self.step.marks_right(right, key))
        };
        let mut seen = BTreeSet::new();
        others.retain(|key| {
            Some(key) != meant && !is_right(key) && !is_negative(key) && seen.insert(key.to_string())
        });
        draws.one_of(&others).cloned()
    }
}

/// Whether a family's questions are about what the misconception is about.
fn is_about(family: &Family, misconception: &Misconception) -> bool {
    let theme = |id: &'static str| id.split('-').next();
    let operations = ["add", "subtract", "multiply", "divide", "compare", "round"];
    theme(misconception.id).is_some_and(|word| operations.contains(&word))
        || family.all_misconceptions().iter().any(|id| theme(id) == theme(misconception.id))
}

fn is_negative(key: &Key) -> bool {
    matches!(key, Key::Number(number) if number.is_negative())
}

fn one_off(number: &Decimal) -> Vec<Decimal> {
    [-1, 1].iter().filter_map(|off| Decimal::new(number.units() + off, number.places()).ok()).collect()
}

/// What came of many pupils.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    pub pupils: u32,
    /// Holders of whom the right name was told, alone or with one other.
    pub right: u32,
    /// Pupils of whom anything else was named.
    pub wrong: u32,
}

impl Tally {
    /// Counts one pupil. Strict: all names told of the pupil, over all groups, must be two at most and hold the right
    /// one.
    pub fn count(&mut self, held: Option<&Misconception>, named: &[&'static str]) {
        self.pupils += 1;
        let holds_it = held.is_some_and(|held| named.contains(&held.id));
        if holds_it && named.len() <= 2 {
            self.right += 1;
        } else if !named.is_empty() {
            self.wrong += 1;
        }
    }
}
