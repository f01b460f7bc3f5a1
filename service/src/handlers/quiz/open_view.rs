//! The pages of an open attempt, from the questions and what the pupil typed.
//!
//! The only place that turns a question into something a pupil sees before handing in. It reads story, prompt, unit,
//! acceptance in words and the choices' texts, and nothing else of a question.

use std::collections::BTreeMap;
use std::sync::Arc;

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use qbank::accept::Credit;
use qbank::locale::Locale;
use qbank::question::{Choice, Item, Step, StepKind};
use qbank::units;

use super::fields::{self, FieldName, Typed, places, stored};
use super::shown::{Filled, Shown};
use super::{attempt_of, attempt_path, texts, told};
use crate::app::App;
use crate::entropy;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marked_view::{paragraphs, unbroken};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::handlers::proven_pools::Numbered;
use crate::pages::quiz::{
    ANSWER_LENGTH_MAX, AskedOption, AskedQuestion, AskedStep, AttemptPage, CheckPage, Control, FieldLink,
    Notice, OneAtATime, OpenFrame, OpenQuestion, OpenStep, OrderPlace, QuestionState, UnitSign,
};
use crate::pages::spoken::{Voice, Written};
use crate::pages::{Frame, Place};
use crate::session::PupilSession;
use crate::storage::{Attempt, Responses};
use crate::texts::Texts;

/// How long before the end pupils are told how many minutes are left.
const MINUTES_TOLD: i64 = 120;

/// What a page of an open attempt is made from.
pub(super) struct OpenView<'a> {
    pub(super) app: &'a App,
    pub(super) quiz: &'a OpenedQuiz,
    pub(super) session: &'a PupilSession,
    /// The attempt as it is stored now.
    pub(super) attempt: &'a Attempt,
    /// Its questions.
    pub(super) questions: &'a [&'a Item],
    /// Texts to show in place of the stored ones: those that could not be stored.
    pub(super) typed: &'a Typed,
    pub(super) shown: Shown,
}

impl OpenView<'_> {
    /// The page as an answer.
    pub(super) fn answer(&self, status: StatusCode, notice: Notice) -> Result<HttpResponse, PageError> {
        let open = self.open(notice);
        match self.shown {
            Shown::Check => answer::page_with_script(status, &self.check_page(open)),
            Shown::All | Shown::Question(_) => answer::page_with_script(status, &self.attempt_page(open)),
        }
    }

    fn texts(&self) -> &'static Texts {
        texts(self.quiz)
    }

    fn frame(&self) -> Frame {
        Frame::of_locale(&self.quiz.pool.locale, Place::Quiz, self.quiz.title())
    }

    fn open(&self, notice: Notice) -> OpenFrame {
        let path = attempt_path(self.attempt);
        OpenFrame {
            facts: self.facts(),
            notice,
            save_action: format!("{path}/save"),
            submit_action: format!("{path}/submit"),
            csrf: self.session.csrf.value().to_owned(),
            attempt: self.attempt.id.to_string(),
            page: entropy::identifier(),
            revision: self.attempt.revision,
        }
    }

    /// Attempt, questions, times: a line each.
    fn facts(&self) -> Vec<String> {
        let texts = self.texts();
        let count = u32::try_from(self.questions.len()).expect("a quiz has a u32 of questions at most");
        let time = |at| [("time", told(self.app, self.quiz, at).into())];
        let mut facts = vec![
            attempt_of(self.quiz, self.attempt),
            texts.counting("quiz-count", [("count", count)]),
            texts.with("quiz-started", &time(self.attempt.started_at)),
        ];
        if let Some(closes) = self.quiz.placement.quiz.windows.closes_at() {
            facts.push(texts.with("quiz-until", &time(closes)));
            let minutes = closes.duration_since(self.app.clock.now()).as_mins();
            if (0..=MINUTES_TOLD).contains(&minutes) {
                facts.push(texts.with("quiz-minutes-left", &[("minutes", minutes.into())]));
            }
        }
        facts
    }

    fn attempt_page(&self, open: OpenFrame) -> AttemptPage {
        let shown = |number: usize| !matches!(self.shown, Shown::Question(one) if one != number);
        let answers = Answers { stored: &self.attempt.responses, typed: self.typed };
        AttemptPage {
            frame: self.frame(),
            open,
            how_to_write: how_to_write(self.quiz),
            point: locale(self.quiz).point,
            one: self.one_at_a_time(),
            questions: (1..)
                .zip(self.questions)
                .filter(|(number, _)| shown(*number))
                .map(|(number, item)| answers.to(self.quiz, item, self.numbered(number)))
                .collect(),
        }
    }

    fn numbered(&self, number: usize) -> Numbered {
        Numbered { number, of: matches!(self.shown, Shown::Question(_)).then_some(self.questions.len()) }
    }

    fn check_page(&self, open: OpenFrame) -> CheckPage {
        let empty = empty_fields(self.texts(), self.questions, &self.attempt.responses, Shown::Check);
        CheckPage {
            frame: self.frame(),
            heading: self.texts().with("quiz-check-empty", &[("count", empty.len().into())]),
            open,
            empty,
            states: self.states(),
        }
    }

    fn one_at_a_time(&self) -> Option<OneAtATime> {
        let Shown::Question(number) = self.shown else { return None };
        Some(OneAtATime {
            next: self.shown.next(self.questions.len()).and_then(Shown::word).unwrap_or_default(),
            last: number == self.questions.len(),
            back: self.shown.back().and_then(Shown::word),
            here: number.to_string(),
            states: self.states(),
        })
    }

    fn states(&self) -> Vec<QuestionState> {
        let state = |(number, item): (usize, &&Item)| {
            let (sign, message) = match Filled::of(item, &self.attempt.responses) {
                Filled::Whole => ("\u{25cf}", "quiz-state-answered"),
                Filled::Partly => ("\u{25d0}", "quiz-state-partly"),
                Filled::Nothing => ("\u{25cb}", "quiz-state-empty"),
            };
            QuestionState {
                number,
                name: question_name(self.texts(), number),
                sign,
                state: self.texts().say(message),
                here: self.shown == Shown::Question(number),
            }
        };
        (1..).zip(self.questions).map(state).collect()
    }
}

/// Answers so far, to be shown in their fields.
pub(super) struct Answers<'a> {
    /// The answers that are stored.
    pub(super) stored: &'a Responses,
    /// Texts to show in place of those.
    pub(super) typed: &'a Typed,
}

impl Answers<'_> {
    /// A question with the answers to it.
    pub(super) fn to(&self, quiz: &OpenedQuiz, item: &Item, numbered: Numbered) -> Arc<Written> {
        let (texts, credit) = (texts(quiz), quiz.placement.quiz.policy.form_credit);
        let write = || {
            let question = OpenQuestion {
                texts,
                number: numbered.number,
                name: name(texts, numbered),
                asked: quiz.pool.asked(item, credit, || asked(texts, item, credit)),
                steps: item.steps.iter().map(|step| self.to_step(item, step, numbered.number)).collect(),
            };
            question.written()
        };
        if self.are_none_to(item) { quiz.pool.unanswered(item, credit, numbered, write) } else { write() }
    }

    fn are_none_to(&self, item: &Item) -> bool {
        self.typed.too_long.is_empty() && self.stored.get(item.id.as_str()).is_none_or(BTreeMap::is_empty)
    }

    fn to_step(&self, item: &Item, step: &Step, number: usize) -> OpenStep {
        let field = FieldName::new(number, step);
        let too_long = self.typed.too_long.contains(&field);
        let text = self.typed.texts.get(&field).filter(|_| too_long);
        let answer = text.map_or(stored(self.stored, item, step), String::as_str);
        let place = |(place, chosen): (usize, String)| OrderPlace {
            name: field.place_name(place),
            anchor: format!("{}-{place}", field.anchor()),
            chosen,
        };
        OpenStep {
            name: field.name(),
            anchor: field.anchor(),
            answer: answer.to_owned(),
            too_long,
            places: (1..).zip(places(step, answer)).map(place).collect(),
        }
    }
}

/// What a question asks, for all who get it.
fn asked(texts: &Texts, item: &Item, credit: Option<Credit>) -> AskedQuestion {
    let voice = Voice::of(item);
    let speak = |text: &str| Written::from(&voice.speak(text));
    let step = |step: &Step| AskedStep {
        prompt: speak(&unbroken(&step.prompt)),
        control: control(texts, &voice, step, credit),
    };
    AskedQuestion {
        story: paragraphs(&item.stem).iter().map(|paragraph| speak(paragraph)).collect(),
        points: texts.with("quiz-points", &[("count", item.max_points().into())]),
        steps: item.steps.iter().map(step).collect(),
    }
}

fn control(texts: &Texts, voice: &Voice, step: &Step, credit: Option<Credit>) -> Control {
    let label = |place: usize| texts.with("quiz-place", &[("number", place.into())]);
    match step.kind {
        StepKind::Choice => Control::Choice { options: options(voice, step) },
        StepKind::Order => Control::Order {
            options: options(voice, step),
            labels: (1..=step.choices.len()).map(label).collect(),
        },
        StepKind::Words => Control::Typed { unit: None, forms: texts.say("quiz-in-words"), words: true },
        StepKind::Number => {
            Control::Typed { unit: unit_sign(step), forms: forms(texts, step, credit), words: false }
        }
    }
}

/// Which unit is meant and which forms count, a sentence or two.
fn forms(texts: &Texts, step: &Step, credit: Option<Credit>) -> String {
    let unit = unit_sign(step).map(|sign| variant(&sign.symbol));
    let unit = unit.map(|unit| texts.with("quiz-unit", &[("unit", unit.into())]));
    let forms = step.accept.with_credit(credit).explained(texts.language());
    let sentences = unit.into_iter().chain([forms]).filter(|sentence| !sentence.is_empty());
    sentences.collect::<Vec<_>>().join(" ")
}

/// What a question is called on its page.
fn name(texts: &Texts, Numbered { number, of }: Numbered) -> String {
    match of {
        Some(count) => texts.with("quiz-question-of", &[("number", number.into()), ("count", count.into())]),
        None => question_name(texts, number),
    }
}

/// "Question 2".
fn question_name(texts: &Texts, number: usize) -> String {
    texts.with("quiz-question", &[("number", number.into())])
}

/// How numbers are written where the quiz is set.
pub(super) fn locale(quiz: &OpenedQuiz) -> Locale {
    Locale::by_tag(&quiz.pool.locale).unwrap_or(Locale::EN_US)
}

/// How answers are written, in a sentence or two.
pub(super) fn how_to_write(quiz: &OpenedQuiz) -> String {
    texts(quiz).with("quiz-how-to-write", &[("example", locale(quiz).example.into())])
}

/// Links to the steps that have no answer yet.
pub(super) fn empty_fields(
    texts: &Texts,
    questions: &[&Item],
    responses: &Responses,
    shown: Shown,
) -> Vec<FieldLink> {
    fields::all(questions)
        .filter(|(_, item, step)| fields::is_empty(step, stored(responses, item, step)))
        .map(|(field, _, step)| field.link(texts, step, shown))
        .collect()
}

/// What to tell where answers could not be stored: those that are too long come first, for they hold up everything.
pub(super) fn refused(
    quiz: &OpenedQuiz,
    questions: &[&Item],
    typed: &Typed,
    newer: &Responses,
    shown: Shown,
) -> Option<Notice> {
    let texts = texts(quiz);
    if !typed.too_long.is_empty() {
        let long = fields::all(questions).filter(|(field, ..)| typed.too_long.contains(field));
        return Some(Notice::TooLong {
            which: texts.with("quiz-too-long-which", &[("most", ANSWER_LENGTH_MAX.into())]),
            fields: long.map(|(field, _, step)| field.link(texts, step, shown)).collect(),
        });
    }
    if newer.is_empty() {
        return None;
    }
    let refused = fields::all(questions).filter_map(|(field, item, step)| {
        let yours = newer.get(item.id.as_str())?.get(step.id.as_str())?;
        let FieldLink { address, text } = field.link(texts, step, shown);
        let variables = [("field", text.into()), ("yours", written(step, yours).into())];
        Some(FieldLink { address, text: texts.with("quiz-newer-text", &variables) })
    });
    let fields: Vec<FieldLink> = refused.collect();
    (!fields.is_empty()).then_some(Notice::Newer { fields })
}

/// An answer as the pupil saw it: the texts of what was chosen.
fn written(step: &Step, answer: &str) -> String {
    let text = |id: &str| {
        let choice = step.choices.iter().find(|choice| choice.id == id);
        choice.map_or_else(|| id.to_owned(), |choice| unbroken(&choice.text))
    };
    match step.kind {
        StepKind::Order => places(step, answer).iter().map(|id| text(id)).collect::<Vec<_>>().join(", "),
        StepKind::Choice => text(answer),
        StepKind::Number | StepKind::Words => answer.to_owned(),
    }
}

fn options(voice: &Voice, step: &Step) -> Vec<AskedOption> {
    let option = |choice: &Choice| {
        let text = voice.speak(&unbroken(&choice.text));
        AskedOption { id: choice.id.to_string(), text: Written::from(&text), shown: text.shown() }
    };
    step.choices.iter().map(option).collect()
}

/// The unit to show beside the field. Where it is part of the answer, showing it would give it away.
fn unit_sign(step: &Step) -> Option<UnitSign> {
    let symbol = step.unit.clone().filter(|_| !step.accept.form.unit)?;
    let leads = units::by_symbol(&symbol).is_some_and(|unit| unit.leads);
    Some(UnitSign { symbol: symbol.into(), leads })
}

/// A unit's symbol as the name of a variant of a message, which takes only letters, digits and hyphens.
fn variant(symbol: &str) -> String {
    match symbol {
        "$" => "dollar".into(),
        "¢" => "cent".into(),
        symbol => symbol.replace('\u{b2}', "2").replace(' ', "-"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_has_a_name_in_every_language() {
        for texts in Texts::all() {
            for unit in units::UNITS {
                let told = texts.with("quiz-unit", &[("unit", variant(unit.symbol).into())]);
                let words: Vec<&str> = unit.words().collect();
                let name = told.trim_end_matches('.').split(" in ").last().unwrap_or_default();
                let name = name.split(" va en ").last().unwrap_or_default();
                assert!(words.contains(&name) && name.len() > 3 || name == "feet", "{}: {told}", unit.symbol);
            }
        }
    }
}
