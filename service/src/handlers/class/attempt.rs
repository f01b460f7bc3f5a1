//! One attempt that was handed in, step by step, for the teacher.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::people::name_or_label;
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marked_view::{self, Reader};
use crate::handlers::opened_quiz::{OpenedQuiz, marks};
use crate::pages::class::AttemptPage;
use crate::pages::{Frame, Place};
use crate::session::TeacherSession;
use crate::storage::AttemptId;

/// GET: verdicts and what wrong answers are consistent with. An open attempt is not shown: nothing is judged yet.
pub(crate) async fn show(
    session: TeacherSession,
    app: web::Data<App>,
    path: web::Path<(String, String)>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let attempt = quiz.attempt(&app, &AttemptId::from(path.1.as_str())).await?;
    let result = attempt.result.as_ref().ok_or(PageError::NotFound)?;
    let submitted_at = result.submitted_at.strftime("%Y-%m-%d %H:%M UTC");
    let members = app.storage.members_at(&quiz.placement.id).await?;
    let page = AttemptPage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Class, quiz.title()),
        pupil: name_or_label(members.iter().find(|member| member.user == attempt.user), &attempt.user),
        subject: attempt.user.to_string(),
        points: result.points,
        points_max: result.maximum,
        progress: format!("Attempt {}, handed in {submitted_at}", attempt.number),
        class_url: format!("/class/{}", session.placement),
        whose: "Answer:",
        questions: marked_view::questions(&quiz.pool, &marks(result)?, Reader::Teacher),
    };
    answer::page(StatusCode::OK, &page)
}
