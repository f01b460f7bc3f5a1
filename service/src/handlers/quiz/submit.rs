//! Handing in: every question is marked, the attempt closes and the grade is queued in one step of the store.

use std::sync::Arc;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use jiff::Timestamp;
use qbank::question::Item;

use super::at_quiz::AtAttempt;
use super::fields::Typed;
use super::open_view::{self, OpenView};
use super::shown::Shown;
use super::{attempt_path, texts, too_late};
use crate::app::App;
use crate::attempts;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::pages::quiz::Notice;
use crate::storage::{Attempt, HandIn, HandedIn, Judge};
use crate::typing::Kept;

/// POST: keeps what the form brings and hands in all that is stored, unless an answer is too long, a newer one is
/// stored, or some are empty and the pupil has not said that this is meant. Handing in a closed attempt again changes
/// nothing and shows its result. After the quiz's end what was saved counts.
pub(crate) async fn submit(
    AtAttempt { session, quiz, attempt }: AtAttempt,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    if attempt.result.is_some() {
        return Ok(answer::see_other(&attempt_path(&attempt)));
    }
    if let Some(late) = too_late(&app, &session, &quiz, &attempt).await? {
        return Ok(late);
    }
    let questions = quiz.questions(&attempt.seed);
    let (typed, count) = (Typed::read(&fields, &questions), questions.len());
    let handing = Arc::new(Handing {
        typed,
        empty_is_meant: fields.value("allow_empty") == "yes",
        now: app.clock.now(),
        quiz,
    });
    let hand_in = HandIn {
        attempt: attempt.id.clone(),
        placement: attempt.placement.clone(),
        user: attempt.user.clone(),
        typing: handing.typed.typing(&fields),
        judge: handing.clone().judge(),
        deliver: !session.preview,
        at: handing.now,
    };
    match attempts::hand_in(&app, hand_in, count).await? {
        HandedIn::Closed(_) | HandedIn::NotOpen => Ok(answer::see_other(&attempt_path(&attempt))),
        HandedIn::Kept(kept) => {
            let Handing { typed, quiz, .. } = handing.as_ref();
            let questions = quiz.questions(&attempt.seed);
            let notice = handing.stop(&questions, &kept).expect("what stopped the judge is told");
            let attempt = Attempt { responses: kept.responses, revision: kept.revision, ..attempt };
            let shown = handing.shown();
            let (session, attempt, questions) = (&session, &attempt, &questions);
            let view = OpenView { app: &app, quiz, session, attempt, questions, typed, shown };
            view.answer(StatusCode::UNPROCESSABLE_ENTITY, notice)
        }
    }
}

/// A form that is handed in, and what deciding about it needs.
struct Handing {
    quiz: OpenedQuiz,
    typed: Typed,
    empty_is_meant: bool,
    now: Timestamp,
}

impl Handing {
    fn shown(&self) -> Shown {
        Shown::of_handing_in(self.quiz.placement.quiz.layout)
    }

    /// What the attempt comes to with all that is stored; none if handing in stops.
    fn judge(self: Arc<Self>) -> Judge {
        Arc::new(move |attempt, kept| {
            let questions = self.quiz.questions(&attempt.seed);
            let stops = self.stop(&questions, kept).is_some();
            (!stops).then(|| self.quiz.result(&questions, attempt, &kept.responses, self.now))
        })
    }

    /// Why handing in stops for once, if it does.
    fn stop(&self, questions: &[&Item], kept: &Kept) -> Option<Notice> {
        let (quiz, shown) = (&self.quiz, self.shown());
        open_view::refused(quiz, questions, &self.typed, &kept.refused, shown).or_else(|| {
            let fields = open_view::empty_fields(texts(quiz), questions, &kept.responses, shown);
            // A text that is too long is not stored, and not empty either; it was told before.
            (!self.empty_is_meant && !fields.is_empty()).then_some(Notice::Empty { fields })
        })
    }
}
