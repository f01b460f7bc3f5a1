//! A pupil at a quiz: what every address under `/quiz/{placement}` starts from, read from the store in one step.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest, web};

use crate::app::App;
use crate::frame_ancestors::FrameAncestors;
use crate::handlers::answer::PageError;
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::session::{self, PupilSession, Session, SessionError};
use crate::storage::{Asked, Attempt, AttemptId, PlacementId, VisitAsked};

/// The session of a pupil who was launched into the quiz that the address names, with that quiz. An extractor: the handler
/// does not run for anybody else.
pub(crate) struct AtQuiz {
    /// Who asks.
    pub(crate) session: PupilSession,
    /// The quiz, with the attempts that this pupil is allowed.
    pub(crate) quiz: OpenedQuiz,
    /// The pupil's attempts in order; where the address names one, that one alone.
    pub(crate) attempts: Vec<Attempt>,
}

/// As [`AtQuiz`], for addresses that name an attempt: it is the pupil's own; another's is as good as none.
pub(crate) struct AtAttempt {
    /// Who asks.
    pub(crate) session: PupilSession,
    /// The quiz, with the attempts that this pupil is allowed.
    pub(crate) quiz: OpenedQuiz,
    /// The attempt.
    pub(crate) attempt: Attempt,
}

type Extracted<T> = Pin<Box<dyn Future<Output = Result<T, PageError>>>>;

impl FromRequest for AtQuiz {
    type Error = PageError;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move { visit(&request).await })
    }
}

impl FromRequest for AtAttempt {
    type Error = PageError;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move {
            let AtQuiz { session, quiz, attempts } = visit(&request).await?;
            let attempt = attempts.into_iter().next().ok_or(PageError::NotFound)?;
            Ok(Self { session, quiz, attempt })
        })
    }
}

async fn visit(request: &HttpRequest) -> Result<AtQuiz, PageError> {
    let app = request.app_data::<web::Data<App>>().expect("routes always carry the App");
    let placement = PlacementId::from(request.match_info().get("placement").expect("the route names it"));
    let attempts = match request.match_info().get("attempt") {
        Some(id) => Asked::One(AttemptId::from(id)),
        None => Asked::All,
    };
    let session = session::fingerprint(app, request);
    let asked = VisitAsked { session, placement: placement.clone(), attempts, now: app.clock.now() };
    let visit = app.storage.visit(asked).await?;
    if let Some(frames) = visit.frames {
        let return_origin = visit.session.as_ref().and_then(|session| session.return_origin.as_deref());
        FrameAncestors::note_frames(request, frames, return_origin);
    }
    let Session::Pupil(session) = Session::covering(visit.session, Some(&placement))? else {
        return Err(SessionError::NotAllowed.into());
    };
    let quiz = OpenedQuiz::of(app, visit.placement.ok_or(PageError::NotFound)?).await?;
    Ok(AtQuiz { session, quiz: quiz.with_extra_attempts(visit.extra_attempts), attempts: visit.attempts })
}
