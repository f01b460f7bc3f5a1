//! The page of an open attempt, from the questions and what the pupil typed.
//!
//! The only place that turns a question into something a pupil sees before handing in. It reads story, prompt, unit,
//! acceptance in words and the choices' texts, and nothing else of a question.

use qbank::locale::Language;
use qbank::marking::Policy;
use qbank::question::{Choice, Item, Step, StepKind};
use qbank::units;

use super::attempt_path;
use super::fields::{FieldName, Typed, places};
use crate::app::App;
use crate::handlers::marked_view::{paragraphs, unbroken};
use crate::handlers::opened_quiz::{OpenedQuiz, counted};
use crate::pages::quiz::{
    AttemptPage, ChoiceOption, Field, Notice, OpenQuestion, OpenStep, OrderPlace, UnitSign,
};
use crate::pages::{Frame, Place};
use crate::session::PupilSession;
use crate::storage::Attempt;

/// The page that shows `typed` in its fields.
pub(super) fn page(
    app: &App,
    quiz: &OpenedQuiz,
    session: &PupilSession,
    attempt: &Attempt,
    typed: &Typed,
    notice: Notice,
) -> AttemptPage {
    let questions = quiz.questions(&attempt.seed);
    let path = attempt_path(attempt);
    AttemptPage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Quiz, quiz.title()),
        progress: format!(
            "Attempt {} of {}, {}{}",
            attempt.number,
            quiz.placement.quiz.attempts_allowed,
            counted(questions.len() as u64, "question"),
            quiz.placement
                .quiz
                .windows
                .closes_at()
                .map(|closes| format!(". Hand in until {}", quiz.told(app, closes)))
                .unwrap_or_default(),
        ),
        notice,
        save_action: format!("{path}/save"),
        submit_action: format!("{path}/submit"),
        csrf: session.csrf.value().to_owned(),
        questions: (1..)
            .zip(&questions)
            .map(|(number, item)| question(item, number, typed, quiz.placement.quiz.policy))
            .collect(),
    }
}

fn question(item: &Item, number: usize, typed: &Typed, policy: Policy) -> OpenQuestion {
    let language = Language::of_locale(&item.locale).unwrap_or_default();
    let steps = item.steps.iter().map(|step| {
        let field = FieldName::new(number, step);
        let text = typed.all.get(&item.id).and_then(|steps| steps.get(&step.id)).map_or("", String::as_str);
        let too_long = typed.too_long.contains(&field);
        OpenStep {
            name: field.name(),
            anchor: field.anchor(),
            prompt: unbroken(&step.prompt),
            field: control(step, &field, (language, policy), text, too_long),
        }
    });
    OpenQuestion {
        number,
        story: paragraphs(&item.stem),
        points: counted(item.max_points(), "point"),
        steps: steps.collect(),
    }
}

fn control(
    step: &Step,
    field: &FieldName,
    (language, policy): (Language, Policy),
    typed: &str,
    too_long: bool,
) -> Field {
    match step.kind {
        StepKind::Choice => Field::Choice { options: options(step, typed) },
        StepKind::Order => {
            let places = places(step, typed);
            let place = |(number, chosen): (usize, &String)| OrderPlace {
                number,
                name: field.place_name(number),
                anchor: format!("{}-{number}", field.anchor()),
                options: options(step, chosen),
            };
            Field::Order { places: (1..).zip(&places).map(place).collect() }
        }
        StepKind::Words => Field::Typed {
            typed: typed.to_owned(),
            unit: None,
            forms: in_words(language).into(),
            too_long,
            words: true,
        },
        StepKind::Number => Field::Typed {
            typed: typed.to_owned(),
            unit: unit_sign(step),
            forms: step.accept.with_credit(policy.form_credit).explained(language),
            too_long,
            words: false,
        },
    }
}

/// What is asked for in a step answered in words.
fn in_words(language: Language) -> &'static str {
    match language {
        Language::English => "Name the last place, too: tenths, hundredths or thousandths.",
        Language::Spanish => "Nombra también la última posición: décimas, centésimas o milésimas.",
    }
}

fn options(step: &Step, chosen: &str) -> Vec<ChoiceOption> {
    let option = |choice: &Choice| ChoiceOption {
        id: choice.id.clone(),
        text: unbroken(&choice.text),
        chosen: choice.id == chosen,
    };
    step.choices.iter().map(option).collect()
}

/// The unit to show beside the field. Where it is part of the answer, showing it would give it away.
fn unit_sign(step: &Step) -> Option<UnitSign> {
    let symbol = step.unit.clone().filter(|_| !step.accept.form.unit)?;
    let leads = units::by_symbol(&symbol).is_some_and(|unit| unit.leads);
    Some(UnitSign { symbol, leads })
}
