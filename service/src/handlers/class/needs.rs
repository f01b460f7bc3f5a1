//! Who needs what: pupils whose answers are consistent with the same misunderstanding, what to do next, and questions
//! for the board.

use std::collections::BTreeSet;
use std::sync::Arc;

use actix_web::web;
use qbank::misconceptions;
use qbank::pool::Pool;

use super::people::People;
use crate::handlers::answer::PageError;
use crate::handlers::marked_view::{paragraphs, shown_answer, unbroken};
use crate::handlers::opened_quiz::{OpenedQuiz, marks};
use crate::judgement::{Judgement, Need};
use crate::pages::class::{BoardQuestion, NeedView, NeedyPupil};
use crate::storage::{Attempt, UserId};
use crate::texts::Texts;

/// Questions for the board for each group.
const FOR_THE_BOARD: usize = 2;

/// The groups, the largest first.
pub(super) async fn needs(
    texts: &Texts,
    quiz: &OpenedQuiz,
    people: &People<'_>,
    attempts: &[Attempt],
) -> Result<Vec<NeedView>, PageError> {
    let mut closed: Vec<_> = attempts.iter().filter_map(|attempt| attempt.result.as_ref()).collect();
    // Newer answers count more, so they are seen in the order of time.
    closed.sort_by_key(|result| result.submitted_at);
    let mut answered = Vec::new();
    for result in closed {
        answered.extend(marks(result)?);
    }
    let counted: BTreeSet<String> = attempts
        .iter()
        .filter(|attempt| people.counts(&attempt.user))
        .map(|attempt| attempt.user.to_string())
        .collect();
    let kept_back = at_work_on(quiz, attempts);
    let pool = Arc::clone(&quiz.pool);
    // Some tenths of a second for a large pool and class: not on a thread that answers others.
    let needs = web::block(move || {
        let mut judgement = Judgement::of(&pool);
        answered.iter().for_each(|mark| judgement.see(mark));
        judgement.needs(|pupil| counted.contains(pupil), &kept_back, FOR_THE_BOARD)
    });
    let needs = needs.await.map_err(|_| PageError::Record("judging was broken off".into()))?;
    Ok(needs
        .into_iter()
        .zip(1..)
        .map(|(need, number)| view(texts, &quiz.pool, people, attempts, need, number))
        .collect())
}

/// Questions that pupils are at work on: they belong on no board.
fn at_work_on(quiz: &OpenedQuiz, attempts: &[Attempt]) -> BTreeSet<String> {
    let open = attempts.iter().filter(|attempt| attempt.result.is_none());
    open.flat_map(|attempt| quiz.questions(&attempt.seed)).map(|item| item.id.to_string()).collect()
}

fn view(
    texts: &Texts,
    pool: &Pool,
    people: &People<'_>,
    attempts: &[Attempt],
    need: Need,
    number: usize,
) -> NeedView {
    let language = texts.language();
    let known: Vec<_> = need.named.iter().filter_map(|id| misconceptions::find(id)).collect();
    let what = |place: usize| known.get(place).map_or("", |known| known.shown_as(language));
    let consistent = match known.len() {
        0 | 1 => texts.with("class-needs-what", &[("what", what(0).into())]),
        _ => texts.with("class-needs-either", &[("one", what(0).into()), ("other", what(1).into())]),
    };
    let pupil = |(pupil, hits, shown): (String, u32, u32)| {
        let user = UserId(pupil);
        let last = attempts.iter().rfind(|attempt| attempt.user == user && attempt.result.is_some());
        NeedyPupil {
            label: people.label(&user),
            url: last.map(|attempt| format!("/class/{}/{}", attempt.placement, attempt.id)),
            evidence: texts.with("class-needs-evidence", &[("hits", hits.into()), ("shown", shown.into())]),
        }
    };
    let mut pupils: Vec<NeedyPupil> = need.pupils.into_iter().map(pupil).collect();
    pupils.sort_by(|one, other| one.label.cmp(&other.label));
    let board: Vec<BoardQuestion> =
        need.practice.iter().filter_map(|id| pool.item(id)).map(|item| board_question(texts, item)).collect();
    NeedView {
        id: format!("need-{number}"),
        consistent,
        count: texts.with("class-needs-pupils", &[("count", pupils.len().into())]),
        pupils,
        next: known.iter().map(|known| known.next_in(language).to_owned()).collect(),
        board_heading: texts.with("class-needs-board", &[("count", board.len().into())]),
        board,
    }
}

/// A question as it is written on a board, with its answers folded.
pub(super) fn board_question(texts: &Texts, item: &qbank::question::Item) -> BoardQuestion {
    BoardQuestion {
        language: item.locale.to_string(),
        story: paragraphs(&item.stem),
        steps: item.steps.iter().map(|step| (unbroken(&step.prompt), choices(step))).collect(),
        answers: item
            .steps
            .iter()
            .map(|step| texts.with("class-needs-answer-is", &[("answer", shown_answer(step).into())]))
            .collect(),
    }
}

fn choices(step: &qbank::question::Step) -> Vec<String> {
    step.choices.iter().map(|choice| unbroken(&choice.text)).collect()
}
