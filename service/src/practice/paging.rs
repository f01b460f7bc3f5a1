//! Long lists in pages: `limit` and `page` in, a `Link` header with `rel="next"` (RFC 8288) out.

use actix_web::http::header::LINK;
use actix_web::{HttpRequest, HttpResponse};
use serde_json::Value;
use url::form_urlencoded;

use super::parameters::Parameters;
use super::problems::ServiceProblem;
use super::state::Platform;

/// Most entries on one page whatever `limit` says: small, so that a class does not fit on one and tools have to
/// follow the links.
pub(super) const PAGE_ENTRIES: usize = 10;

/// Which part of a list is asked for.
pub(super) struct PageRequest {
    limit: usize,
    page: usize,
}

impl PageRequest {
    pub(super) fn read(query: &Parameters) -> Result<PageRequest, ServiceProblem> {
        let number = |name: &str| {
            let text = query.find(name);
            text.map(|text| {
                text.parse::<usize>().map_err(|_| {
                    ServiceProblem::bad_request(format!("{name} `{text}` is not a whole number"))
                })
            })
            .transpose()
        };
        let limit = number("limit")?.unwrap_or(PAGE_ENTRIES);
        if limit == 0 {
            return Err(ServiceProblem::bad_request("limit must be at least 1"));
        }
        Ok(PageRequest { limit: limit.min(PAGE_ENTRIES), page: number("page")?.unwrap_or(0) })
    }

    /// Answers with this part of `entries`, put into a body by `wrap`.
    pub(super) fn answer(
        &self,
        platform: &Platform,
        request: &HttpRequest,
        media_type: &'static str,
        entries: Vec<Value>,
        wrap: impl FnOnce(Vec<Value>) -> Value,
    ) -> HttpResponse {
        let skipped = self.page.saturating_mul(self.limit);
        let more = entries.len() > skipped.saturating_add(self.limit);
        let shown: Vec<Value> = entries.into_iter().skip(skipped).take(self.limit).collect();

        let mut response = HttpResponse::Ok();
        response.content_type(media_type);
        if more {
            response.insert_header((LINK, self.next_link(platform, request)));
        }
        response.body(wrap(shown).to_string())
    }

    /// The same address with all its filters, one page on.
    fn next_link(&self, platform: &Platform, request: &HttpRequest) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (name, value) in form_urlencoded::parse(request.query_string().as_bytes()) {
            if name != "page" {
                query.append_pair(&name, &value);
            }
        }
        query.append_pair("page", &(self.page + 1).to_string());
        format!("<{}?{}>; rel=\"next\"", platform.url(request.path()), query.finish())
    }
}
