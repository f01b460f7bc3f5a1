//! `POST /lti/window`: a window of its own takes over the session that a frame could not keep.

use actix_web::http::header::SET_COOKIE;
use actix_web::{HttpRequest, HttpResponse, web};

use super::launch::go_to;
use super::{PostedForm, Stopped, answer, from_our_page};
use crate::app::App;
use crate::lti::FailedCheck;
use crate::lti::login::Parameters;
use crate::session;

/// The ticket as a posted form.
pub async fn post(app: web::Data<App>, request: HttpRequest, posted: PostedForm) -> HttpResponse {
    answer(&app, redeem(&app, &request, posted.0).await)
}

async fn redeem(
    app: &App,
    request: &HttpRequest,
    parameters: Result<Parameters, FailedCheck>,
) -> Result<HttpResponse, Stopped> {
    let parameters = parameters?;
    // A form of another site could bring another person's ticket.
    from_our_page(app, request)?;
    let ticket = parameters.filled("ticket").ok_or(FailedCheck::WindowTicket)?;
    let (cookie, page) = session::redeem(app, ticket).await?.ok_or(FailedCheck::WindowTicket)?;
    let mut response = go_to(app, &page);
    response.headers_mut().insert(SET_COOKIE, cookie);
    Ok(response)
}
