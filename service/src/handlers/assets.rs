//! The style sheet, and scripts that pages name.
//!
//! They go out packed where the browser takes that. Pages themselves do not: they carry a secret beside what people
//! type, and the length of a packed page would tell about it (the BREACH attack).

use std::io::Write as _;
use std::sync::LazyLock;

use actix_web::http::header::{
    ACCEPT_ENCODING, AcceptEncoding, CACHE_CONTROL, CONTENT_ENCODING, CONTENT_TYPE, Encoding, Header as _,
    VARY,
};
use actix_web::{HttpRequest, HttpResponse};
use flate2::Compression;
use flate2::write::GzEncoder;

use crate::pages::STYLESHEET;
use crate::pages::board::AGAIN_SCRIPT;
use crate::pages::frames::STORAGE_SCRIPT;
use crate::pages::quiz;
use crate::pages::registration::CLOSING_SCRIPT;

/// Kept by browsers for ever, because pages name these files by their content.
const FOR_EVER: &str = "public, max-age=31536000, immutable";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

/// GET: the style sheet.
pub(crate) async fn stylesheet(request: HttpRequest) -> HttpResponse {
    static PACKED: LazyLock<Vec<u8>> = LazyLock::new(|| packed(STYLESHEET));
    file(&request, CSS, STYLESHEET, &PACKED)
}

/// GET: what the pages of an attempt add.
pub(crate) async fn quiz_script(request: HttpRequest) -> HttpResponse {
    static PACKED: LazyLock<Vec<u8>> = LazyLock::new(|| packed(quiz::SCRIPT));
    file(&request, SCRIPT, quiz::SCRIPT, &PACKED)
}

/// GET: what looks again while a job runs.
pub(crate) async fn again_script(request: HttpRequest) -> HttpResponse {
    static PACKED: LazyLock<Vec<u8>> = LazyLock::new(|| packed(AGAIN_SCRIPT));
    file(&request, SCRIPT, AGAIN_SCRIPT, &PACKED)
}

/// GET: what speaks with the platform's window.
pub(crate) async fn storage_script(request: HttpRequest) -> HttpResponse {
    static PACKED: LazyLock<Vec<u8>> = LazyLock::new(|| packed(STORAGE_SCRIPT));
    file(&request, SCRIPT, STORAGE_SCRIPT, &PACKED)
}

/// GET: what closes the window of a registration; asked for once in the life of a platform.
pub(crate) async fn closing_script() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, SCRIPT))
        .insert_header((CACHE_CONTROL, "public, max-age=3600"))
        .body(CLOSING_SCRIPT)
}

fn file(
    request: &HttpRequest,
    kind: &'static str,
    plain: &'static str,
    packed: &'static [u8],
) -> HttpResponse {
    let mut answer = HttpResponse::Ok();
    answer
        .insert_header((CONTENT_TYPE, kind))
        .insert_header((CACHE_CONTROL, FOR_EVER))
        .insert_header((VARY, "Accept-Encoding"));
    if takes_packed(request) {
        answer.insert_header((CONTENT_ENCODING, "gzip")).body(packed)
    } else {
        answer.body(plain)
    }
}

/// Whether the request names gzip among the encodings that it takes (RFC 9110, 12.5.3).
fn takes_packed(request: &HttpRequest) -> bool {
    let named = request.headers().contains_key(ACCEPT_ENCODING);
    named
        && AcceptEncoding::parse(request)
            .is_ok_and(|accepted| accepted.negotiate([Encoding::gzip()].iter()) == Some(Encoding::gzip()))
}

fn packed(text: &str) -> Vec<u8> {
    const IN_MEMORY: &str = "writing into memory does not fail";
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(text.as_bytes()).expect(IN_MEMORY);
    encoder.finish().expect(IN_MEMORY)
}
