//! What three pupils would get of quizzes that are about to be placed.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::draft::chosen;
use super::needs::board_question;
use super::place::{drafts, page as form_page, place_text};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::lti::deep_linking::PlacedQuiz;
use crate::pages::class::{PreviewPage, PreviewedQuiz, Version};
use crate::pages::{Frame, Place};
use crate::session::PlacingSession;
use crate::texts::{ReaderTexts, Texts};

/// Seeds of the versions that are shown. No pupil has one of them: those of pupils are random.
const SEEDS: [&str; 3] = ["preview 1", "preview 2", "preview 3"];

/// POST: three versions side by side, with the whole form in hidden fields; or the form again, if something is wrong with
/// it.
pub(crate) async fn show(
    session: PlacingSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let drafts = drafts(&session, &fields);
    let choice = match chosen(texts, &app, &drafts).await? {
        Ok(choice) => choice,
        Err(problem) => {
            let page = form_page(texts, &app, &session, drafts, Some(problem)).await?;
            return answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page);
        }
    };
    let mut quizzes = Vec::new();
    for quiz in &choice.quizzes {
        quizzes.push(previewed(texts, &app, quiz).await?);
    }
    let page = PreviewPage {
        frame: Frame::new(texts, Place::Class, texts.say("class-preview")).wide(),
        csrf: session.csrf.value().to_owned(),
        place_text: place_text(texts, quizzes.len()),
        quizzes,
        fields: fields.others().map(|(name, value)| (name.to_owned(), value.to_owned())).collect(),
    };
    answer::page(StatusCode::OK, &page)
}

async fn previewed(texts: &Texts, app: &App, quiz: &PlacedQuiz) -> Result<PreviewedQuiz, PageError> {
    let pool = app.pools.find(app.storage.as_ref(), &quiz.pool).await?;
    let pool = pool.ok_or_else(|| PageError::NoPool(quiz.pool.to_string()))?;
    let count = usize::try_from(quiz.question_count).unwrap_or(usize::MAX);
    let version = |(seed, number): (&str, usize)| Version {
        title: texts.with("class-preview-pupil", &[("number", number.into())]),
        questions: pool.draw(count, seed).into_iter().map(|item| board_question(texts, item)).collect(),
    };
    Ok(PreviewedQuiz {
        title: quiz.title.clone(),
        numbers: texts.with(
            "class-preview-numbers",
            &[
                ("questions", quiz.question_count.into()),
                ("attempts", quiz.attempts_allowed.into()),
                ("points", quiz.score_maximum.into()),
            ],
        ),
        versions: SEEDS.into_iter().zip(1..).map(version).collect(),
    })
}
