//! Results: the final scores on record, or the teacher's marks in their place, on the scale of their line item, for the
//! tool to read back.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use serde_json::{Value, json};
use url::form_urlencoded;

use super::access_tokens::Scope;
use super::line_items::{self, LineItemId};
use super::paging::PageRequest;
use super::problems::ServiceProblem;
use super::service_request::{authorize, require_accept};
use super::state::{Platform, State};

const CONTAINER_TYPE: &str = "application/vnd.ims.lis.v2.resultcontainer+json";

/// `GET` on a line item's results; `user_id` asks for one person's.
pub(super) async fn list(
    platform: Data<Platform>,
    request: HttpRequest,
    id: Path<LineItemId>,
) -> Result<HttpResponse, ServiceProblem> {
    let query = authorize(&platform, &request, &[Scope::ResultReadOnly])?;
    require_accept(&request, CONTAINER_TYPE)?;
    let page = PageRequest::read(&query)?;
    let state = platform.state();
    line_items::existing(&state, *id)?;
    let wanted = query.find("user_id");
    let pupils = platform.members.pupils().map(|member| member.person.id.as_str());
    let entries = pupils
        .filter(|user_id| wanted.is_none_or(|wanted| wanted == *user_id))
        .filter_map(|user_id| result(&platform, &state, *id, user_id))
        .collect();
    Ok(page.answer(&platform, &request, CONTAINER_TYPE, entries, Value::Array))
}

/// One person's result; `None` while nothing is on record for them.
fn result(platform: &Platform, state: &State, id: LineItemId, user_id: &str) -> Option<Value> {
    let maximum = state.line_items.find(id)?.score_maximum;
    let recorded = state.scores.find(id, user_id);
    let mark = state.scores.teachers_mark(id, user_id).map(|mark| mark.points);
    if recorded.is_none() && mark.is_none() {
        return None;
    }
    let line_item = line_items::url(platform, id);
    let (path, query) = line_item.split_once('?')?;
    let encoded: String = form_urlencoded::byte_serialize(user_id.as_bytes()).collect();
    let mut value = json!({
        "id": format!("{path}/results/{encoded}?{query}"),
        "scoreOf": line_item,
        "userId": user_id,
    });
    if let Some(points) = mark.or_else(|| recorded?.message.result(maximum)) {
        value["resultScore"] = json!(points);
        value["resultMaximum"] = json!(maximum);
    }
    if let Some(comment) = recorded.and_then(|recorded| recorded.message.comment.as_deref()) {
        value["comment"] = comment.into();
    }
    Some(value)
}
