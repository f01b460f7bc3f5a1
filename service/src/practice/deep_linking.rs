//! Placing activities: what was asked of the tool, and the response that comes back through the browser.
//!
//! A response is checked as a whole before anything is created: either all its links and line items exist
//! afterwards or none.

use std::collections::{BTreeMap, HashMap};

use actix_web::HttpResponse;
use actix_web::http::{StatusCode, header};
use actix_web::web::{Bytes, Data, Path};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use url::Url;

use super::clock;
use super::line_items::LineItemBody;
use super::links::{self, Link, Period};
use super::login::Ticket;
use super::pages::{self, SignIn};
use super::parameters::Parameters;
use super::points::Points;
use super::problems::PageProblem;
use super::state::{DEPLOYMENT_ID, Platform};
use super::tool_tokens::{self, ToolTokenError, VerifiedClaims};

/// A deep-linking request that waits for its response.
#[derive(Debug, Clone)]
pub(super) struct Opened {
    /// Last part of the return address.
    pub(super) id: String,
    /// What the tool has to send back unchanged.
    pub(super) data: String,
    person_id: String,
    sign_in: SignIn,
}

/// What the platform lets a tool place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Placing {
    /// Whether several activities may come back at once.
    pub accept_multiple: bool,
    /// Whether line items are made; where not, the request says so and they are ignored.
    pub accept_lineitem: bool,
}

impl Default for Placing {
    fn default() -> Self {
        Self { accept_multiple: true, accept_lineitem: true }
    }
}

/// Requests that wait for their response, by id, and what the last responses had to say.
#[derive(Debug, Default)]
pub(super) struct DeepLinking {
    pub(super) placing: Placing,
    opened: HashMap<String, Opened>,
    messages: HashMap<String, String>,
}

impl DeepLinking {
    pub(super) fn open(&mut self, ticket: &Ticket) -> Opened {
        let opened = Opened {
            id: clock::unguessable(),
            data: clock::unguessable(),
            person_id: ticket.person_id.clone(),
            sign_in: ticket.sign_in,
        };
        self.opened.insert(opened.id.clone(), opened.clone());
        opened
    }

    /// What the tool wanted the person to read, once.
    pub(super) fn take_message(&mut self, person_id: &str) -> Option<String> {
        self.messages.remove(person_id)
    }
}

/// Receives a deep-linking response: a form with the single field `JWT`.
pub(super) async fn receive(
    platform: Data<Platform>,
    id: Path<String>,
    body: Bytes,
) -> Result<HttpResponse, PageProblem> {
    let opened = platform.state().deep_linking.opened.get(id.as_str()).cloned();
    let opened = opened.ok_or_else(|| {
        PageProblem::new(
            StatusCode::NOT_FOUND,
            "this request for an activity is not open, or was answered before",
        )
    })?;
    let form = Parameters::parse(&body).map_err(|repeated| PageProblem::bad_request(repeated.to_string()))?;
    let token = form.find("JWT").ok_or_else(|| PageProblem::bad_request("the form field JWT is missing"))?;

    let claims = tool_tokens::verify(&platform, token, platform.issuer(), "nonce")
        .await
        .map_err(|error| unauthentic(&error))?;
    check_response(&claims, &opened)?;
    let placements = read_items(&platform, &claims)?;
    let placing = platform.state().deep_linking.placing;
    if !placing.accept_multiple && placements.len() > 1 {
        return Err(PageProblem::bad_request("content_items: more than one, where one was asked for"));
    }

    let mut state = platform.state();
    if state.deep_linking.opened.remove(&opened.id).is_none() {
        return Err(PageProblem::bad_request("this request for an activity was answered twice at once"));
    }
    for Placement { link, line_item } in placements {
        if let Some(mut line_item) = line_item.filter(|_| placing.accept_lineitem) {
            line_item.resource_link_id = Some(link.id.clone());
            state.line_items.create(line_item);
        }
        state.links.add(link);
    }
    for name in ["msg", "errormsg"] {
        if let Some(message) = dl(&claims, name).and_then(Value::as_str) {
            state.deep_linking.messages.insert(opened.person_id.clone(), message.to_owned());
        }
    }
    let course = pages::address("/course", &opened.person_id, opened.sign_in);
    Ok(HttpResponse::SeeOther().insert_header((header::LOCATION, course)).finish())
}

fn unauthentic(error: &ToolTokenError) -> PageProblem {
    tracing::warn!(%error, "practice platform refused a deep-linking response");
    let status = match error {
        ToolTokenError::KeySetUnreachable | ToolTokenError::KeySetUnreadable => StatusCode::BAD_GATEWAY,
        ToolTokenError::Unreadable => StatusCode::BAD_REQUEST,
        _ => StatusCode::UNAUTHORIZED,
    };
    PageProblem::new(status, format!("the tool's response was refused: {error}"))
}

/// A claim of the deep-linking standard by its short name.
fn dl<'a>(claims: &'a VerifiedClaims, name: &str) -> Option<&'a Value> {
    claims.find(&format!("https://purl.imsglobal.org/spec/lti-dl/claim/{name}"))
}

fn check_response(claims: &VerifiedClaims, opened: &Opened) -> Result<(), PageProblem> {
    for (name, expected) in
        [("message_type", "LtiDeepLinkingResponse"), ("version", "1.3.0"), ("deployment_id", DEPLOYMENT_ID)]
    {
        let found = claims.find(&format!("https://purl.imsglobal.org/spec/lti/claim/{name}"));
        if found.and_then(Value::as_str) != Some(expected) {
            return Err(PageProblem::bad_request(format!("{name} must be `{expected}`")));
        }
    }
    if dl(claims, "data").and_then(Value::as_str) != Some(&opened.data) {
        return Err(PageProblem::bad_request("data is not what the request carried"));
    }
    Ok(())
}

/// A link to create, and its line item if it wants one.
struct Placement {
    link: Link,
    line_item: Option<LineItemBody>,
}

/// A content item of type `ltiResourceLink`. Members of other standards or products are ignored.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct ContentItem {
    #[serde(rename = "type")]
    kind: String,
    title: Option<String>,
    text: Option<String>,
    url: Option<Url>,
    #[serde(default)]
    custom: BTreeMap<String, String>,
    line_item: Option<ItemLineItem>,
    #[serde(default)]
    available: Period,
    #[serde(default)]
    submission: Period,
}

/// The line item inside a content item.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct ItemLineItem {
    score_maximum: Points,
    label: Option<String>,
    resource_id: Option<String>,
    tag: Option<String>,
    grades_released: Option<bool>,
}

fn read_items(platform: &Platform, claims: &VerifiedClaims) -> Result<Vec<Placement>, PageProblem> {
    let items = match dl(claims, "content_items") {
        None => return Ok(Vec::new()),
        Some(Value::Array(items)) => items,
        Some(_) => return Err(PageProblem::bad_request("content_items must be an array")),
    };
    let read = |(index, item): (usize, &Value)| {
        read_item(platform, item)
            .map_err(|problem| PageProblem::bad_request(format!("content_items[{index}]: {problem}")))
    };
    items.iter().enumerate().map(read).collect()
}

fn read_item(platform: &Platform, item: &Value) -> Result<Placement, String> {
    let item = ContentItem::deserialize(item).map_err(|error| error.to_string())?;
    if item.kind != "ltiResourceLink" {
        return Err(format!("type `{}` was not asked for, only `ltiResourceLink`", item.kind));
    }
    let url = item.url.unwrap_or_else(|| platform.tool().launch_url);
    if url.origin() != platform.tool().launch_url.origin() {
        return Err(format!("url `{url}` does not belong to the tool"));
    }
    for period in [&item.available, &item.submission] {
        for date in [&period.start_date_time, &period.end_date_time].into_iter().flatten() {
            date.parse::<jiff::Timestamp>()
                .map_err(|_| format!("`{date}` is not an ISO 8601 time with zone"))?;
        }
    }
    let title = item.title.unwrap_or_else(|| "Untitled activity".to_owned());
    let line_item = item.line_item.map(|line_item| read_line_item(line_item, &title)).transpose()?;
    let link = Link {
        id: links::new_id(),
        title,
        text: item.text,
        url,
        custom: item.custom,
        available: item.available,
        submission: item.submission,
    };
    Ok(Placement { link, line_item })
}

fn read_line_item(line_item: ItemLineItem, title: &str) -> Result<LineItemBody, String> {
    let body = LineItemBody {
        label: line_item.label.unwrap_or_else(|| title.to_owned()),
        score_maximum: line_item.score_maximum,
        resource_link_id: None,
        resource_id: line_item.resource_id,
        tag: line_item.tag,
        start_date_time: None,
        end_date_time: None,
        grades_released: line_item.grades_released,
    };
    body.check().map_err(|problem| format!("lineItem: {problem}"))?;
    Ok(body)
}
