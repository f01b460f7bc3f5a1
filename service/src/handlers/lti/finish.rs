//! `POST /lti/launch/finish`: the launch once more, with what the platform's window kept for this browser.
//!
//! The page that asked for it is [`super::launch`]'s. Nothing it found is believed: the token, the login, its nonce and
//! the kept secret are checked here as in any launch.

use actix_web::{HttpRequest, HttpResponse, web};

use super::launch::{Carrier, answered, complete, used_up};
use super::{PostedForm, Stopped, from_our_page};
use crate::app::App;
use crate::lti::FailedCheck;
use crate::lti::login::Parameters;
use crate::session::BrowserCookie;
use crate::storage::{Fingerprint, LoginState};

/// The form of our own page.
pub async fn post(app: web::Data<App>, request: HttpRequest, posted: PostedForm) -> HttpResponse {
    super::answer(&app, finish(&app, &request, posted.0).await)
}

async fn finish(
    app: &App,
    request: &HttpRequest,
    parameters: Result<Parameters, FailedCheck>,
) -> Result<HttpResponse, Stopped> {
    let parameters = parameters?;
    let answered = answered(app, request, &parameters).await?;
    let opened = async {
        // Whoever began a login knows its secret. That it was found in this browser is known only from our own page.
        from_our_page(app, request)?;
        check_kept(&answered.seen.login, &parameters)?;
        // The page before this one set the cookie: it has come back where cookies stick.
        let has_cookie = BrowserCookie::of(app, request).is_some();
        let carrier = if has_cookie { Carrier::Cookie } else { Carrier::Ticket };
        complete(app, &parameters, &answered, carrier).await
    };
    used_up(app, &answered, opened.await).await
}

/// Whether the platform's window kept what the login had put there.
fn check_kept(login: &LoginState, parameters: &Parameters) -> Result<(), FailedCheck> {
    let kept = login.storage.as_ref().ok_or(FailedCheck::Browser)?;
    let secret = parameters.filled("kept_state").map(Fingerprint::of);
    if secret.as_ref() == Some(&kept.secret) && parameters.filled("kept_nonce") == Some(&login.nonce) {
        Ok(())
    } else {
        Err(FailedCheck::Browser)
    }
}
