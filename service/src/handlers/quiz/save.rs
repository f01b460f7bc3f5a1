//! Keeping what was typed, without judging it.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::http::header::{ACCEPT, CACHE_CONTROL};
use actix_web::{HttpRequest, HttpResponse, web};
use serde::Serialize;

use super::at_quiz::AtAttempt;
use super::fields::{self, Typed, stored};
use super::open_view::{self, OpenView};
use super::shown::Shown;
use super::{attempt_path, too_late};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::storage::Attempt;
use crate::typing::Kept;

/// What the page's script reads after it sent what was typed.
#[derive(Debug, Serialize)]
struct Receipt {
    /// What the page shows now.
    revision: u64,
    /// Fields whose stored text is another than the sent one, each with that text.
    newer: BTreeMap<String, String>,
    /// Fields whose text is too long to be stored.
    too_long: Vec<String>,
}

/// POST: saves, then goes to the page that the pressed button names, or shows the attempt again. A closed attempt stays
/// as it is and its result is shown; so does one whose quiz is over. The page's script asks for JSON.
pub(crate) async fn save(
    AtAttempt { session, quiz, attempt }: AtAttempt,
    app: web::Data<App>,
    request: HttpRequest,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let by_script = request.headers().get(ACCEPT).is_some_and(|accept| accept == "application/json");
    if let Some(late) = too_late(&app, &session, &quiz, &attempt).await? {
        return Ok(if by_script { closed() } else { late });
    }
    let questions = quiz.questions(&attempt.seed);
    let typed = Typed::read(&fields, &questions);
    let Some(kept) = app.storage.keep_typing(&attempt.id, &typed.typing(&fields)).await? else {
        return Ok(if by_script { closed() } else { answer::see_other(&attempt_path(&attempt)) });
    };
    if by_script {
        return Ok(no_copy(StatusCode::OK).json(receipt(&typed, &kept, &questions)));
    }
    let here = Shown::read(quiz.placement.quiz.layout, fields.value("here"), &attempt, &questions);
    match open_view::refused(&quiz, &questions, &typed, &kept.refused, here) {
        None => Ok(answer::see_other(&next(&attempt, fields.value("go"), here))),
        Some(notice) => {
            let attempt = Attempt { responses: kept.responses, revision: kept.revision, ..attempt };
            let view = OpenView {
                app: &app,
                quiz: &quiz,
                session: &session,
                attempt: &attempt,
                questions: &questions,
                typed: &typed,
                shown: here,
            };
            view.answer(StatusCode::UNPROCESSABLE_ENTITY, notice)
        }
    }
}

/// The page to go to: the one of the pressed button, else the same again with a word that all is saved.
fn next(attempt: &Attempt, go: &str, here: Shown) -> String {
    let path = attempt_path(attempt);
    let is_word = !go.is_empty() && go.bytes().all(|byte| byte.is_ascii_alphanumeric());
    match (is_word, here.word()) {
        (true, _) => format!("{path}?question={go}"),
        (false, Some(word)) => format!("{path}?question={word}&saved=yes"),
        (false, None) => format!("{path}?saved=yes"),
    }
}

/// What the script has to know, by the fields that it sent.
fn receipt(typed: &Typed, kept: &Kept, questions: &[&qbank::question::Item]) -> Receipt {
    let sent = fields::all(questions).filter_map(|(field, item, step)| {
        let text = typed.texts.get(&field)?;
        let stored = stored(&kept.responses, item, step);
        (text != stored && !typed.too_long.contains(&field)).then(|| field.values(step, stored))
    });
    Receipt {
        revision: kept.revision,
        newer: sent.flatten().collect(),
        too_long: typed.too_long.iter().map(fields::FieldName::name).collect(),
    }
}

/// The attempt takes nothing any more.
fn closed() -> HttpResponse {
    no_copy(StatusCode::CONFLICT).json(serde_json::json!({"closed": true}))
}

fn no_copy(status: StatusCode) -> actix_web::HttpResponseBuilder {
    let mut builder = HttpResponse::build(status);
    builder.insert_header((CACHE_CONTROL, "no-store"));
    builder
}
