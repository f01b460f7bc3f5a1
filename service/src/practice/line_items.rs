//! Line items: the columns of the gradebook, as the tool makes, finds, changes and removes them.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::web::{Bytes, Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::access_tokens::Scope;
use super::paging::PageRequest;
use super::parameters::Parameters;
use super::points::Points;
use super::problems::ServiceProblem;
use super::service_request::{authorize, require_accept, require_content_type};
use super::state::{Platform, State};

const ITEM_TYPE: &str = "application/vnd.ims.lis.v2.lineitem+json";
const CONTAINER_TYPE: &str = "application/vnd.ims.lis.v2.lineitemcontainer+json";
/// Longest `resourceId` and `tag`.
const MAX_ID_CHARS: usize = 256;

/// Number of a line item, never given twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(transparent)]
pub(super) struct LineItemId(u32);

/// A line item as it is written by a tool; `id` is the platform's to give and ignored when sent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct LineItemBody {
    pub(super) label: String,
    pub(super) score_maximum: Points,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) resource_link_id: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) resource_id: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) tag: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) start_date_time: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) end_date_time: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) grades_released: Option<bool>,
}

impl LineItemBody {
    /// The rules that types alone do not carry.
    pub(super) fn check(&self) -> Result<(), String> {
        if self.label.trim().is_empty() {
            return Err("label must not be empty".to_owned());
        }
        if self.score_maximum == Points::ZERO {
            return Err("scoreMaximum must be greater than 0".to_owned());
        }
        for (name, value) in [("resourceId", &self.resource_id), ("tag", &self.tag)] {
            if value.as_ref().is_some_and(|value| value.chars().count() > MAX_ID_CHARS) {
                return Err(format!("{name} must have at most {MAX_ID_CHARS} characters"));
            }
        }
        for (name, value) in [("startDateTime", &self.start_date_time), ("endDateTime", &self.end_date_time)]
        {
            if value.as_ref().is_some_and(|value| value.parse::<jiff::Timestamp>().is_err()) {
                return Err(format!("{name} must be an ISO 8601 time with zone"));
            }
        }
        Ok(())
    }

    fn matches(&self, query: &Parameters) -> bool {
        let same = |name: &str, value: &Option<String>| {
            query.find(name).is_none_or(|wanted| value.as_deref() == Some(wanted))
        };
        same("resource_link_id", &self.resource_link_id)
            && same("resource_id", &self.resource_id)
            && same("tag", &self.tag)
    }
}

/// Every line item of the course, oldest first.
#[derive(Debug, Default)]
pub(super) struct LineItems {
    items: BTreeMap<LineItemId, LineItemBody>,
    last: u32,
}

impl LineItems {
    pub(super) fn create(&mut self, body: LineItemBody) -> LineItemId {
        self.last += 1;
        let id = LineItemId(self.last);
        self.items.insert(id, body);
        id
    }

    pub(super) fn find(&self, id: LineItemId) -> Option<&LineItemBody> {
        self.items.get(&id)
    }

    pub(super) fn all(&self) -> impl Iterator<Item = (LineItemId, &LineItemBody)> {
        self.items.iter().map(|(id, body)| (*id, body))
    }

    /// The line item of a link, when it has exactly one.
    pub(super) fn only_of_link(&self, link_id: &str) -> Option<LineItemId> {
        let mut of_link = self.all().filter(|(_, body)| body.resource_link_id.as_deref() == Some(link_id));
        let (id, _) = of_link.next()?;
        of_link.next().is_none().then_some(id)
    }
}

/// Address of the list, with a query string that has to be kept.
pub(super) fn container_url(platform: &Platform) -> String {
    format!("{}?course={}", platform.url("/services/lineitems"), platform.course.id)
}

/// Address of one line item, with a query string that has to be kept.
pub(super) fn url(platform: &Platform, id: LineItemId) -> String {
    format!("{}/{}?course={}", platform.url("/services/lineitems"), id.0, platform.course.id)
}

/// The line item, or 404.
pub(super) fn existing(state: &State, id: LineItemId) -> Result<&LineItemBody, ServiceProblem> {
    let found = state.line_items.find(id);
    found.ok_or_else(|| ServiceProblem::not_found(format!("there is no line item {}", id.0)))
}

fn body_with_id(platform: &Platform, id: LineItemId, body: &LineItemBody) -> Value {
    let mut value = json!(body);
    value["id"] = url(platform, id).into();
    value
}

fn item_answer(status: StatusCode, platform: &Platform, id: LineItemId, body: &LineItemBody) -> HttpResponse {
    HttpResponse::build(status).content_type(ITEM_TYPE).body(body_with_id(platform, id, body).to_string())
}

fn read_body(state: &State, bytes: &[u8]) -> Result<LineItemBody, ServiceProblem> {
    let body: LineItemBody = serde_json::from_slice(bytes)
        .map_err(|error| ServiceProblem::bad_request(format!("not a line item: {error}")))?;
    body.check().map_err(ServiceProblem::bad_request)?;
    if let Some(link_id) = body.resource_link_id.as_ref().filter(|id| state.links.find(id).is_none()) {
        return Err(ServiceProblem::not_found(format!(
            "there is no resource link `{link_id}` in this course"
        )));
    }
    Ok(body)
}

/// `GET` on the list, with the filters `resource_link_id`, `resource_id` and `tag`.
pub(super) async fn list(
    platform: Data<Platform>,
    request: HttpRequest,
) -> Result<HttpResponse, ServiceProblem> {
    let query = authorize(&platform, &request, &[Scope::LineItem, Scope::LineItemReadOnly])?;
    require_accept(&request, CONTAINER_TYPE)?;
    let page = PageRequest::read(&query)?;
    let state = platform.state();
    let matching = state.line_items.all().filter(|(_, body)| body.matches(&query));
    let entries = matching.map(|(id, body)| body_with_id(&platform, id, body)).collect();
    Ok(page.answer(&platform, &request, CONTAINER_TYPE, entries, Value::Array))
}

/// `POST` on the list.
pub(super) async fn create(
    platform: Data<Platform>,
    request: HttpRequest,
    bytes: Bytes,
) -> Result<HttpResponse, ServiceProblem> {
    authorize(&platform, &request, &[Scope::LineItem])?;
    require_content_type(&request, ITEM_TYPE)?;
    let mut state = platform.state();
    let body = read_body(&state, &bytes)?;
    let id = state.line_items.create(body.clone());
    Ok(item_answer(StatusCode::CREATED, &platform, id, &body))
}

/// `GET` on one line item.
pub(super) async fn read(
    platform: Data<Platform>,
    request: HttpRequest,
    id: Path<LineItemId>,
) -> Result<HttpResponse, ServiceProblem> {
    authorize(&platform, &request, &[Scope::LineItem, Scope::LineItemReadOnly])?;
    require_accept(&request, ITEM_TYPE)?;
    let state = platform.state();
    let body = existing(&state, *id)?;
    Ok(item_answer(StatusCode::OK, &platform, *id, body))
}

/// `PUT` on one line item: replaces all of it.
pub(super) async fn replace(
    platform: Data<Platform>,
    request: HttpRequest,
    id: Path<LineItemId>,
    bytes: Bytes,
) -> Result<HttpResponse, ServiceProblem> {
    authorize(&platform, &request, &[Scope::LineItem])?;
    require_content_type(&request, ITEM_TYPE)?;
    let mut state = platform.state();
    existing(&state, *id)?;
    let body = read_body(&state, &bytes)?;
    state.line_items.items.insert(*id, body.clone());
    Ok(item_answer(StatusCode::OK, &platform, *id, &body))
}

/// `DELETE` on one line item; its scores go with it.
pub(super) async fn delete(
    platform: Data<Platform>,
    request: HttpRequest,
    id: Path<LineItemId>,
) -> Result<HttpResponse, ServiceProblem> {
    authorize(&platform, &request, &[Scope::LineItem])?;
    let mut state = platform.state();
    existing(&state, *id)?;
    state.line_items.items.remove(&id);
    state.scores.forget(*id);
    Ok(HttpResponse::NoContent().finish())
}
