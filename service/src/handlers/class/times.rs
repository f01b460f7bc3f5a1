//! Changing when a placed quiz is open, where the course itself does not say so: for instance in a copied course, whose
//! links still carry last year's dates.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::window_fields::{self, Typed};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::pages::class::TimesPage;
use crate::pages::{Frame, Place};
use crate::session::TeacherSession;
use crate::storage::Change;
use crate::texts::{ReaderTexts, Texts};
use crate::windows::{Edge, Zone};

/// GET: the present times, to be changed.
pub(crate) async fn show(
    session: TeacherSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let windows = &quiz.placement.quiz.windows;
    let zone = windows.zone.as_ref().unwrap_or(&app.settings.time_zone);
    let typed = window_fields::typed(windows, zone);
    answer::page(StatusCode::OK, &page(texts, &quiz, &session, typed, zone.name(), None))
}

/// POST: the times hold from now on.
pub(crate) async fn change(
    session: TeacherSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let typed = Edge::ALL.map(|edge| fields.value(edge.name()).trim().to_owned());
    let zone = fields.value("time_zone");
    let windows = match zone.parse::<Zone>() {
        _ if quiz.placement.quiz.windows.named_by_platform() => Err(texts.say("class-times-by-course")),
        Ok(zone) => window_fields::read(texts, &typed, &zone),
        Err(_) => Err(texts.say("class-place-choose-zone")),
    };
    match windows {
        Ok(windows) => {
            let change = Change { at: app.clock.now(), by: session.actor() };
            app.storage.set_windows(&session.placement, &windows, &change).await?;
            Ok(answer::see_other(&format!("/class/{}", session.placement)))
        }
        Err(problem) => {
            let page = page(texts, &quiz, &session, typed, zone, Some(problem));
            answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
    }
}

fn page(
    texts: &'static Texts,
    quiz: &OpenedQuiz,
    session: &TeacherSession,
    typed: Typed,
    zone: &str,
    problem: Option<String>,
) -> TimesPage {
    let class = format!("/class/{}", session.placement);
    TimesPage {
        frame: Frame::new(texts, Place::Class, quiz.title()),
        problem,
        action: format!("{class}/times"),
        class_url: class,
        csrf: session.csrf.value().to_owned(),
        windows: window_fields::fields(texts, "", typed),
        zones: window_fields::zones(zone),
    }
}
