//! The coordinator's pages under `/district`.
//!
//! ```text
//! GET/POST /district/sign-in      with a token of the programming interface, made for coordinators
//! POST     /district/sign-out
//! GET      /district              what needs somebody
//! GET      /district/families     question families, with samples
//! …        /district/pools        plans, pools, packages
//! …        /district/examine      trying out packages
//! …        /district/jobs         what is worked on in the background, and what it came to
//! …        /district/platforms    platforms, deployments, invitations, keys
//! …        /district/tokens       tokens of the programming interface
//! …        /district/deliveries   grades that wait or need somebody
//! GET      /district/use          who uses what, and what items tell; small numbers are not told
//! GET      /district/audit        who changed what
//! ```
//!
//! Whoever is signed in acts as their token: what it may not do any more, they may not, and the audit trail names it.

mod audit;
mod deliveries;
mod examine;
mod families;
mod jobs_view;
mod overview;
mod plan;
mod plan_fault;
mod platforms;
mod pools;
mod session;
mod sign_in;
mod tokens;
mod usage;

use actix_multipart::form::MultipartFormConfig;
use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::web::{self, ServiceConfig};

pub(crate) use session::DistrictSession;
pub(crate) use usage::KeptUse;

use crate::handlers::answer::{self, PageError};
use crate::pages::board::{Board, Notice, PageLink, Section};
use crate::pages::{Frame, Place};
use crate::texts::Texts;

/// The pages in the order in which they are listed: address and message.
const PAGES: [(&str, &str); 10] = [
    ("/district", "running-page-overview"),
    ("/district/families", "running-page-families"),
    ("/district/pools", "running-page-pools"),
    ("/district/examine", "running-page-examine"),
    ("/district/jobs", "running-page-jobs"),
    ("/district/platforms", "running-page-platforms"),
    ("/district/tokens", "running-page-tokens"),
    ("/district/deliveries", "running-page-deliveries"),
    ("/district/use", "running-page-use"),
    ("/district/audit", "running-page-audit"),
];

/// Largest package that is tried out on a page, with the rest of its form, in bytes.
const PACKAGE_LENGTH_MAX: usize = 65 * 1024 * 1024;

/// Every address under `/district`.
pub(crate) fn configure(config: &mut ServiceConfig) {
    let files = MultipartFormConfig::default()
        .total_limit(PACKAGE_LENGTH_MAX)
        .memory_limit(PACKAGE_LENGTH_MAX)
        .error_handler(|error, _| PageError::Form(error.to_string()).into());
    config
        .app_data(files)
        .route("/district", web::get().to(overview::show))
        .route("/district/sign-in", web::get().to(sign_in::show))
        .route("/district/sign-in", web::post().to(sign_in::sign_in))
        .route("/district/sign-out", web::post().to(sign_in::sign_out))
        .route("/district/families", web::get().to(families::list))
        .route("/district/families/{family}", web::get().to(families::show))
        .route("/district/pools", web::get().to(pools::list))
        .route("/district/pools/plan", web::get().to(plan::show))
        .route("/district/pools/plan", web::post().to(plan::work))
        .route("/district/pools/plan/upload", web::post().to(plan::upload))
        .route("/district/pools/{pool}", web::get().to(pools::show))
        .route("/district/pools/{pool}/file", web::get().to(pools::file))
        .route("/district/pools/{pool}/export", web::post().to(pools::export))
        .route("/district/examine", web::get().to(examine::show))
        .route("/district/examine", web::post().to(examine::examine))
        .route("/district/jobs", web::get().to(jobs_view::list))
        .route("/district/jobs/{job}", web::get().to(jobs_view::show))
        .route("/district/jobs/{job}/file", web::get().to(jobs_view::file))
        .route("/district/jobs/{job}/cancel", web::post().to(jobs_view::cancel))
        .route("/district/jobs/{job}/drop", web::post().to(jobs_view::drop_job))
        .route("/district/platforms", web::get().to(platforms::list))
        .route("/district/platforms/approve", web::post().to(platforms::approve))
        .route("/district/platforms/add", web::post().to(platforms::add))
        .route("/district/platforms/remove", web::post().to(platforms::remove))
        .route("/district/platforms/invite", web::post().to(platforms::invite))
        .route("/district/platforms/revoke-invitation", web::post().to(platforms::revoke_invitation))
        .route("/district/platforms/rotate", web::post().to(platforms::rotate))
        .route("/district/platforms/retire", web::post().to(platforms::retire))
        .route("/district/platforms/{platform}", web::get().to(platforms::show))
        .route("/district/platforms/{platform}/frames", web::post().to(platforms::frames))
        .route("/district/tokens", web::get().to(tokens::list))
        .route("/district/tokens", web::post().to(tokens::make))
        .route("/district/tokens/revoke", web::post().to(tokens::revoke))
        .route("/district/deliveries", web::get().to(deliveries::list))
        .route("/district/deliveries/send-again", web::post().to(deliveries::send_again))
        .route("/district/deliveries/settle", web::post().to(deliveries::settle))
        .route("/district/deliveries/compare", web::post().to(deliveries::compare))
        .route("/district/use", web::get().to(usage::show))
        .route("/district/use.csv", web::get().to(usage::csv))
        .route("/district/use-courses.csv", web::get().to(usage::courses_csv))
        .route("/district/audit", web::get().to(audit::list));
}

/// A board of a signed-in coordinator.
fn board(session: &DistrictSession, page: &str, title: String, sections: Vec<Section>) -> Board {
    let texts = Texts::of_reader();
    let link = |(url, text): (&'static str, &str)| PageLink { url, text: texts.say(text), here: url == page };
    Board {
        frame: Frame::new(texts, Place::District, title).wide().with_languages(),
        pages: PAGES.into_iter().map(link).collect(),
        notice: None,
        again_after_s: None,
        csrf: session.csrf.value().to_owned(),
        sections,
    }
}

/// Answers with a board.
fn shown(board: &Board) -> Result<HttpResponse, PageError> {
    answer::page(StatusCode::OK, board)
}

/// Answers with a board that looks again by itself where scripts run.
fn shown_again(board: &Board) -> Result<HttpResponse, PageError> {
    answer::page_with_script(StatusCode::OK, board)
}

/// Answers with a board that says what was wrong.
fn refused(mut board: Board, problem: String) -> Result<HttpResponse, PageError> {
    board.notice = Some(Notice { text: problem, problem: true, secret: None });
    // Such a page is no place to change the language: asking for it again posts nothing.
    board.frame.again_in_another_language = None;
    answer::page(StatusCode::UNPROCESSABLE_ENTITY, &board)
}

/// Answers a change with a board that says what was done.
fn done(mut board: Board, text: String, secret: Option<String>) -> Result<HttpResponse, PageError> {
    board.notice = Some(Notice { text, problem: false, secret });
    board.frame.again_in_another_language = None;
    answer::page(StatusCode::OK, &board)
}
