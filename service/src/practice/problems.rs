//! Refusals: JSON problems (RFC 9457) for the services, plain pages for people. The token endpoint has its own form,
//! see [`super::access_tokens`].

use std::fmt;

use actix_web::http::StatusCode;
use actix_web::http::header::{ContentType, WWW_AUTHENTICATE};
use actix_web::{HttpResponse, ResponseError};
use askama::Template;
use serde_json::json;

/// A service refuses a call.
#[derive(Debug)]
pub(super) struct ServiceProblem {
    status: StatusCode,
    detail: String,
}

impl ServiceProblem {
    pub(super) fn new(status: StatusCode, detail: impl Into<String>) -> ServiceProblem {
        ServiceProblem { status, detail: detail.into() }
    }

    pub(super) fn bad_request(detail: impl Into<String>) -> ServiceProblem {
        ServiceProblem::new(StatusCode::BAD_REQUEST, detail)
    }

    pub(super) fn not_found(detail: impl Into<String>) -> ServiceProblem {
        ServiceProblem::new(StatusCode::NOT_FOUND, detail)
    }
}

impl fmt::Display for ServiceProblem {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.detail)
    }
}

impl ResponseError for ServiceProblem {
    fn status_code(&self) -> StatusCode {
        self.status
    }

    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status);
        if self.status == StatusCode::UNAUTHORIZED {
            response.insert_header((WWW_AUTHENTICATE, "Bearer error=\"invalid_token\""));
        }
        response.content_type("application/problem+json").body(
            json!({
                "title": self.status.canonical_reason(),
                "status": self.status.as_u16(),
                "detail": self.detail,
            })
            .to_string(),
        )
    }
}

/// A person's request cannot be answered; they get a page that says why.
#[derive(Debug)]
pub(super) struct PageProblem {
    status: StatusCode,
    detail: String,
}

impl PageProblem {
    pub(super) fn new(status: StatusCode, detail: impl Into<String>) -> PageProblem {
        PageProblem { status, detail: detail.into() }
    }

    pub(super) fn bad_request(detail: impl Into<String>) -> PageProblem {
        PageProblem::new(StatusCode::BAD_REQUEST, detail)
    }
}

impl fmt::Display for PageProblem {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.detail)
    }
}

#[derive(Template)]
#[template(path = "practice/problem.html")]
struct ProblemPage<'a> {
    title: &'a str,
    detail: &'a str,
}

impl ResponseError for PageProblem {
    fn status_code(&self) -> StatusCode {
        self.status
    }

    fn error_response(&self) -> HttpResponse {
        let page = ProblemPage { title: "That did not work", detail: &self.detail };
        let body = page.render().unwrap_or_else(|_| self.detail.clone());
        HttpResponse::build(self.status).content_type(ContentType::html()).body(body)
    }
}
