//! Failures of the programming interface.

use actix_web::http::StatusCode;
use actix_web::http::header::WWW_AUTHENTICATE;
use actix_web::{HttpResponse, ResponseError};

use super::records::Failure;
use crate::handlers::answer::PageError;
use crate::lti::keys::rotation::RotationError;
use crate::storage::{ApiRole, StorageError};

/// Why a call failed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ApiError {
    /// No bearer token, or one that is not known.
    #[error("a valid bearer token is needed")]
    NotAuthentic,
    /// The token's role does not allow the call.
    #[error("the role {0} may not do this")]
    NotAllowed(ApiRole),
    /// There is no such address.
    #[error("there is no such address")]
    NoSuchAddress,
    /// There is no such pool.
    #[error("there is no pool {0:?}")]
    NoPool(String),
    /// There is no such placement.
    #[error("there is no placement {0:?}")]
    NoPlacement(String),
    /// No grade of that pupil waits for a choice.
    #[error("no grade of that pupil is held")]
    NothingHeld,
    /// There is no such platform.
    #[error("there is no platform {0}")]
    NoPlatform(i64),
    /// The deployment does not wait for approval.
    #[error("deployment {0:?} does not wait for approval")]
    NotPending(String),
    /// Keys were not changed.
    #[error(transparent)]
    Rotation(#[from] RotationError),
    /// The pool has no such question.
    #[error("the pool has no question {0:?}")]
    NoQuestion(String),
    /// There is no such platform.
    #[error("no platform with issuer {0:?} is registered")]
    NoIssuer(String),
    /// Grades would be lost.
    #[error("{0} grades are not in the gradebook yet, so nothing was deleted")]
    GradesWaiting(usize),
    /// The body is not what was expected.
    #[error("the body cannot be read: {0}")]
    Body(String),
    /// A choice in the address is not one that is known.
    #[error("the address cannot be read: {0}")]
    Query(String),
    /// The pool file is no pool, or a question in it cannot be proven.
    #[error("{0}")]
    Pool(String),
    /// Another pool with that id is placed in courses already.
    #[error("pool {0:?} is placed in courses and holds other questions")]
    PoolInUse(String),
    /// Our own fault, or the store's.
    #[error("the service could not do this just now")]
    Ours(String),
}

impl ApiError {
    /// The error for a body that could not be read.
    pub(super) fn body(error: &impl std::fmt::Display) -> Self {
        Self::Body(error.to_string())
    }

    /// The error for an address whose query could not be read.
    pub(super) fn query(error: &impl std::fmt::Display) -> Self {
        Self::Query(error.to_string())
    }

    /// Status, stable code and hint.
    fn parts(&self) -> (StatusCode, &'static str, Option<&'static str>) {
        use StatusCode as S;
        match self {
            Self::NotAuthentic => (
                S::UNAUTHORIZED,
                "not_authentic",
                Some("send 'Authorization: Bearer TOKEN' with a token made by 'tenths token add'"),
            ),
            Self::NotAllowed(_) => (S::FORBIDDEN, "not_allowed", Some("use a token with another role")),
            Self::NoSuchAddress => {
                (S::NOT_FOUND, "no_such_address", Some("GET /api/openapi.json lists the addresses"))
            }
            Self::NoPool(_) => (S::NOT_FOUND, "no_pool", Some("GET /api/v1/pools lists the pools")),
            Self::NoPlacement(_) => {
                (S::NOT_FOUND, "no_placement", Some("GET /api/v1/placements lists the placements"))
            }
            Self::NothingHeld => {
                (S::NOT_FOUND, "nothing_held", Some("GET /api/v1/deliveries?state=held lists what is held"))
            }
            Self::NoPlatform(_) => {
                (S::NOT_FOUND, "no_platform", Some("GET /api/v1/platforms lists the platforms"))
            }
            Self::NotPending(_) => {
                (S::NOT_FOUND, "not_pending", Some("GET /api/v1/platforms lists what waits for approval"))
            }
            Self::Rotation(RotationError::UnderWay { .. }) => (S::CONFLICT, "rotation_under_way", None),
            Self::Rotation(RotationError::Needed(_)) => (S::CONFLICT, "key_needed", None),
            Self::Rotation(RotationError::Unknown(_)) => {
                (S::NOT_FOUND, "no_key", Some("GET /api/v1/keys lists the keys"))
            }
            Self::NoQuestion(_) => {
                (S::NOT_FOUND, "no_question", Some("GET /api/v1/pools/ID lists its questions"))
            }
            Self::NoIssuer(_) => {
                (S::NOT_FOUND, "no_platform", Some("'tenths platform list' tells the issuers, byte for byte"))
            }
            Self::GradesWaiting(_) => (
                S::CONFLICT,
                "grades_waiting",
                Some("wait until they are delivered, or set force to delete them, too"),
            ),
            Self::Body(_) => (S::BAD_REQUEST, "unreadable_body", None),
            Self::Query(_) => (S::BAD_REQUEST, "unreadable_query", None),
            Self::Pool(_) => (
                S::UNPROCESSABLE_ENTITY,
                "pool_not_proven",
                Some("send a pool file as 'tenths pool' writes it, unchanged"),
            ),
            Self::PoolInUse(_) => (
                S::CONFLICT,
                "pool_in_use",
                Some("pupils may be working on its questions; load the new one under another id"),
            ),
            Self::Ours(_) | Self::Rotation(_) => {
                (S::SERVICE_UNAVAILABLE, "not_available", Some("try again in a minute"))
            }
        }
    }

    /// What happened, for callers; what went wrong inside is in the log.
    fn message(&self) -> String {
        match self {
            Self::Rotation(RotationError::Keys(_)) => Self::Ours(String::new()).to_string(),
            other => other.to_string(),
        }
    }

    /// The error as an answer.
    pub(super) fn answer(&self) -> HttpResponse {
        let (status, code, hint) = self.parts();
        if status == StatusCode::SERVICE_UNAVAILABLE {
            let problem = match self {
                Self::Ours(problem) => problem.clone(),
                other => other.to_string(),
            };
            tracing::error!(error = problem, "a call of the programming interface failed");
        }
        let mut answer = HttpResponse::build(status);
        if status == StatusCode::UNAUTHORIZED {
            answer.insert_header((WWW_AUTHENTICATE, "Bearer"));
        }
        answer.json(Failure {
            status: status.as_u16(),
            code: code.into(),
            message: self.message(),
            hint: hint.map(str::to_owned),
        })
    }
}

impl ResponseError for ApiError {
    fn status_code(&self) -> StatusCode {
        self.parts().0
    }

    fn error_response(&self) -> HttpResponse {
        self.answer()
    }
}

impl From<StorageError> for ApiError {
    fn from(error: StorageError) -> Self {
        Self::Ours(error.to_string())
    }
}

impl From<PageError> for ApiError {
    fn from(error: PageError) -> Self {
        Self::Ours(error.to_string())
    }
}
