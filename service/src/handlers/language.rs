//! The reader's choice of language, kept in a cookie.

use actix_web::cookie::{Cookie, SameSite, time::Duration};
use actix_web::http::header::{CACHE_CONTROL, LOCATION, SET_COOKIE};
use actix_web::{HttpResponse, web};
use serde::Deserialize;

use crate::app::App;
use crate::texts::{COOKIE, Texts};

/// How long the choice is kept.
const KEPT: Duration = Duration::days(365);

/// What was chosen.
#[derive(Debug, Deserialize)]
pub(crate) struct Choice {
    /// A language's tag; of one that there is not, English.
    to: String,
    /// The page to go back to: a path of ours.
    back: String,
}

/// GET: remembers the language and goes back to the page. Asking for it twice, or by another site's link, does no harm.
pub(crate) async fn choose(app: web::Data<App>, choice: web::Query<Choice>) -> HttpResponse {
    let secure = app.settings.public_url.is_https();
    let cookie = Cookie::build(COOKIE, Texts::of(&choice.to).tag())
        .path("/")
        .max_age(KEPT)
        .http_only(true)
        .secure(secure)
        // Inside a platform's frame only such cookies are kept.
        .same_site(if secure { SameSite::None } else { SameSite::Lax })
        .finish();
    // The cookie type has no word for it yet.
    let cookie = if secure { format!("{cookie}; Partitioned") } else { cookie.to_string() };
    HttpResponse::SeeOther()
        .insert_header((LOCATION, own_path(&choice.back)))
        .insert_header((CACHE_CONTROL, "no-store"))
        .insert_header((SET_COOKIE, cookie))
        .finish()
}

/// A path of ours as it is; the front page instead of anything that could lead elsewhere. Browsers take `//` and `/\\` for
/// the beginning of another host, and drop tabs and line ends (URL standard, from memory).
fn own_path(back: &str) -> &str {
    let leads_elsewhere = back[back.len().min(1)..].starts_with(['/', '\\']);
    let plain = back.starts_with('/') && !leads_elsewhere && back.bytes().all(|byte| byte.is_ascii_graphic());
    if plain { back } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leads_back_to_pages_of_ours_only() {
        for (back, path) in [
            ("/class/p-1?view=map", "/class/p-1?view=map"),
            ("/", "/"),
            ("", "/"),
            ("//elsewhere.example/", "/"),
            ("/\\elsewhere.example/", "/"),
            ("/\t/elsewhere.example", "/"),
            ("https://elsewhere.example/", "/"),
            ("/a\r\nSet-Cookie: x=y", "/"),
            ("class", "/"),
        ] {
            assert_eq!(own_path(back), path, "{back:?}");
        }
    }
}
