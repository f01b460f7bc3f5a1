//! One attempt that was handed in, step by step, for the teacher.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use qbank::marking::Mark;

use super::people::name_or_label;
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marked_view::{self, Reader};
use crate::handlers::opened_quiz::{OpenedQuiz, marks};
use crate::handlers::overrides_view;
use crate::pages::class::AttemptPage;
use crate::pages::marked::{MarkedQuestion, PointsForm};
use crate::pages::{Frame, Place};
use crate::session::TeacherSession;
use crate::storage::{Attempt, AttemptId, AttemptResult, REASON_LENGTH_MAX};
use crate::texts::{ReaderTexts, Texts};

/// GET: verdicts, what wrong answers are consistent with, and forms to change points. An open attempt is not shown:
/// nothing is judged yet.
pub(crate) async fn show(
    session: TeacherSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
    path: web::Path<(String, String)>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let attempt = quiz.attempt(&app, &AttemptId::from(path.1.as_str())).await?;
    let result = attempt.result.as_ref().ok_or(PageError::NotFound)?;
    let members = app.storage.members_at(&quiz.placement.id).await?;
    let class_url = format!("/class/{}", session.placement);
    let page = AttemptPage {
        frame: Frame::new(texts, Place::Class, quiz.title()).with_languages(),
        pupil: name_or_label(texts, members.iter().find(|member| member.user == attempt.user), &attempt.user),
        subject: attempt.user.to_string(),
        points: result.points,
        points_max: texts.with("class-attempt-of", &[("most", result.maximum.into())]),
        progress: texts.with(
            "class-attempt-progress",
            &[
                ("number", attempt.number.into()),
                ("time", texts.date_time(result.submitted_at, quiz.zone(&app)).into()),
            ],
        ),
        grades_url: format!("{class_url}/grades"),
        class_url,
        whose: texts.say("class-attempt-answer"),
        questions: questions(texts, &quiz, &session, &attempt, result)?,
    };
    answer::page(StatusCode::OK, &page)
}

fn questions(
    texts: &'static Texts,
    quiz: &OpenedQuiz,
    session: &TeacherSession,
    attempt: &Attempt,
    result: &AttemptResult,
) -> Result<Vec<MarkedQuestion>, PageError> {
    let marks = marks(result)?;
    let mut questions = marked_view::questions(&quiz.pool, &marks, Reader::Teacher);
    overrides_view::tell(texts, "class-points-changed-by-you", &mut questions, result)?;
    for (question, mark) in questions.iter_mut().zip(&marks) {
        let number = question.number;
        for (place, step) in question.steps.iter_mut().enumerate() {
            step.points_form =
                mark.steps.get(place).map(|_| form(texts, session, attempt, result, mark, number, place));
        }
    }
    Ok(questions)
}

/// The form to change the points of the step at `place` of the question.
fn form(
    texts: &'static Texts,
    session: &TeacherSession,
    attempt: &Attempt,
    result: &AttemptResult,
    mark: &Mark,
    number: usize,
    place: usize,
) -> PointsForm {
    let step = &mark.steps[place];
    let known = result.overrides.iter().find(|change| change.is_of(&mark.question, &step.id));
    PointsForm {
        texts,
        action: format!("/class/{}/{}/points", session.placement, attempt.id),
        csrf: session.csrf.value().to_owned(),
        id: format!("p{number}-{}", place + 1),
        name: texts.with("class-points-of", &[("question", number.into()), ("step", (place + 1).into())]),
        question: mark.question.clone(),
        number,
        step: step.id.clone(),
        points: step.points,
        most: step.max,
        reason: known.map(|known| known.reason.clone()).unwrap_or_default(),
        reason_max: REASON_LENGTH_MAX,
        ours: known.and_then(|_| overrides_view::ours(result, &mark.question, &step.id)),
    }
}
