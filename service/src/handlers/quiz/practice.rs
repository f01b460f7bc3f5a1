//! Practice after the last attempt: questions of the kinds that were not right, with other numbers, marked at once.
//!
//! Nothing of it is stored or sent to the gradebook. Which questions a round asks follows from the seed of the pupil's
//! last attempt, which no page shows, and from the round's number in the address.

use std::collections::BTreeSet;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use qbank::grade::Grade;
use qbank::marking::{Mark, mark_with};
use qbank::question::Item;
use serde::Deserialize;

use super::at_quiz::AtQuiz;
use super::fields::Typed;
use super::open_view::{Answers, how_to_write, locale};
use super::{start_path, texts};
use crate::app::App;
use crate::entropy;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::marked_view::{self, Reader};
use crate::handlers::opened_quiz::{OpenedQuiz, marks};
use crate::handlers::proven_pools::Numbered;
use crate::pages::quiz::{Practice, PracticePage};
use crate::pages::{Frame, Place};
use crate::storage::{Attempt, Responses};
use crate::windows::Phase;

/// Most questions of a round: a few minutes.
const QUESTIONS_MAX: usize = 5;

/// Which round, from 1.
#[derive(Debug, Deserialize)]
pub(crate) struct Round {
    round: Option<u16>,
}

impl Round {
    fn number(&self) -> u16 {
        self.round.unwrap_or(1).max(1)
    }
}

/// GET: the questions of a round.
pub(crate) async fn show(
    AtQuiz { session, quiz, attempts }: AtQuiz,
    app: web::Data<App>,
    round: web::Query<Round>,
) -> Result<HttpResponse, PageError> {
    if !is_finished(&app, &quiz, &attempts) {
        return Ok(answer::see_other(&start_path(&quiz)));
    }
    let items = questions(&quiz, &attempts, round.number())?;
    let nothing = (Responses::new(), Typed::default());
    let answers = Answers { stored: &nothing.0, typed: &nothing.1 };
    let practice = if items.is_empty() {
        Practice::Nothing
    } else {
        Practice::Asked {
            action: address(&quiz, round.number()),
            csrf: session.csrf.value().to_owned(),
            point: locale(&quiz).point,
            how_to_write: how_to_write(&quiz),
            questions: (1..)
                .zip(items)
                .map(|(number, item)| answers.to(&quiz, item, Numbered { number, of: None }))
                .collect(),
        }
    };
    answer::page_with_script(StatusCode::OK, &page(&quiz, practice))
}

/// POST: marks the answers to a round and shows what they came to.
pub(crate) async fn mark(
    AtQuiz { session, quiz, attempts }: AtQuiz,
    app: web::Data<App>,
    round: web::Query<Round>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    if !is_finished(&app, &quiz, &attempts) {
        return Ok(answer::see_other(&start_path(&quiz)));
    }
    let items = questions(&quiz, &attempts, round.number())?;
    let responses = Typed::read(&fields, &items).into_responses();
    let nothing = Default::default();
    let marked: Vec<Mark> = items
        .iter()
        .map(|item| {
            let given = responses.get(item.id.as_str()).unwrap_or(&nothing);
            mark_with(item, session.user.as_str(), given, quiz.placement.quiz.policy)
        })
        .collect();
    let grade = Grade::of(&marked);
    let points = [("points", grade.given.into()), ("maximum", grade.maximum.into())];
    let practice = Practice::Marked {
        points: texts(&quiz).with("quiz-practice-done", &points),
        whose: texts(&quiz).say("quiz-your-answer"),
        more: address(&quiz, round.number().saturating_add(1)),
        questions: marked_view::questions(&quiz.pool, &marked, Reader::Pupil),
    };
    answer::page_with_script(StatusCode::OK, &page(&quiz, practice))
}

/// Where the pupil of these attempts can practice: after the last of them, if anything was not right.
pub(super) fn offered(
    app: &App,
    quiz: &OpenedQuiz,
    attempts: &[Attempt],
) -> Result<Option<String>, PageError> {
    let something = is_finished(app, quiz, attempts) && !questions(quiz, attempts, 1)?.is_empty();
    Ok(something.then(|| address(quiz, 1)))
}

/// Whether there will be no more attempts after these.
fn is_finished(app: &App, quiz: &OpenedQuiz, attempts: &[Attempt]) -> bool {
    let used_up = attempts.len() >= quiz.placement.quiz.attempts_allowed as usize;
    let over = matches!(quiz.placement.quiz.windows.phase(app.clock.now()), Phase::Over { .. });
    let all_closed = attempts.iter().all(|attempt| attempt.result.is_some());
    all_closed && !attempts.is_empty() && (used_up || over)
}

/// The questions of a round: for each question of the last attempt that lost points, one of the same family that the
/// pupil has not had, as long as there are such.
fn questions<'a>(quiz: &'a OpenedQuiz, attempts: &[Attempt], round: u16) -> Result<Vec<&'a Item>, PageError> {
    let Some(last) = attempts.last() else { return Ok(Vec::new()) };
    let Some(result) = &last.result else { return Ok(Vec::new()) };
    let lost = marks(result)?.into_iter().filter(|mark| mark.points < mark.max);
    let families: Vec<String> =
        lost.filter_map(|mark| Some(quiz.pool.item(&mark.question)?.family.to_string())).collect();
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    for attempt in attempts {
        seen.extend(quiz.questions(&attempt.seed).into_iter().map(|item| item.id.as_str()));
    }
    let mut mixed: Vec<&Item> = quiz.pool.items().collect();
    mixed.sort_by_cached_key(|item| entropy::fingerprint(&format!("{} {}", last.seed, item.id)));
    // Those that are new to the pupil come first; the order within is kept. Rounds go through it, and begin anew at its end.
    mixed.sort_by_key(|item| seen.contains(item.id.as_str()));
    let lost: Vec<&String> = families.iter().take(QUESTIONS_MAX).collect();
    let mut chosen: Vec<&Item> = Vec::new();
    for family in &lost {
        let of_family: Vec<&Item> = mixed.iter().copied().filter(|item| item.family == **family).collect();
        let a_round = lost.iter().filter(|other| *other == family).count();
        let nth = chosen.iter().filter(|item| item.family == **family).count();
        if nth < of_family.len() {
            let place = usize::from(round.saturating_sub(1)) * a_round + nth;
            chosen.push(of_family[place % of_family.len()]);
        }
    }
    Ok(chosen)
}

fn address(quiz: &OpenedQuiz, round: u16) -> String {
    format!("{}/practice?round={round}", start_path(quiz))
}

fn page(quiz: &OpenedQuiz, practice: Practice) -> PracticePage {
    let title = texts(quiz).with("quiz-practice-title", &[("title", quiz.title().into())]);
    PracticePage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Quiz, title),
        practice,
        start_url: start_path(quiz),
    }
}
