//! The class list (Names and Role Provisioning): who is in the course, in which role, and who has left.
//!
//! A list names an address for later changes (`rel="differences"`), which tells everybody whose place in the course has
//! changed since, the deleted ones too.

use std::collections::{BTreeSet, HashMap};

use actix_web::http::header::{HeaderValue, LINK};
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use url::form_urlencoded;

use super::access_tokens::Scope;
use super::paging::PageRequest;
use super::parameters::Parameters;
use super::people::Member;
use super::problems::ServiceProblem;
use super::service_request::{authorize, require_accept};
use super::state::Platform;

const CONTAINER_TYPE: &str = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json";

/// Whether somebody is in the course, in the words of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum MemberStatus {
    /// They are.
    #[default]
    Active,
    /// They are listed but take no part.
    Inactive,
    /// They have left: told in differences only.
    Deleted,
}

/// Who is not simply active, and the order in which places changed.
#[derive(Debug, Default)]
pub(super) struct Enrolment {
    statuses: HashMap<String, MemberStatus>,
    /// Ids of people, one entry a change.
    changes: Vec<String>,
}

impl Enrolment {
    pub(super) fn set(&mut self, person_id: &str, status: MemberStatus) {
        self.statuses.insert(person_id.to_owned(), status);
        self.changes.push(person_id.to_owned());
    }

    fn status(&self, person_id: &str) -> MemberStatus {
        self.statuses.get(person_id).copied().unwrap_or_default()
    }

    fn changed_since(&self, change: usize) -> BTreeSet<&str> {
        self.changes.iter().skip(change).map(String::as_str).collect()
    }
}

/// Address of the class list, with a query string that has to be kept.
pub(super) fn url(platform: &Platform) -> String {
    format!("{}?course={}", platform.url(PATH), platform.course.id)
}

const PATH: &str = "/services/roster";

/// `GET` on the class list, with the filters `role` and `rlid`; with `since`, which only our own addresses carry, what
/// changed.
pub(super) async fn list(
    platform: Data<Platform>,
    request: HttpRequest,
) -> Result<HttpResponse, ServiceProblem> {
    let query = authorize(&platform, &request, &[Scope::Roster])?;
    require_accept(&request, CONTAINER_TYPE)?;
    let page = PageRequest::read(&query)?;
    if let Some(link_id) = query.find("rlid")
        && platform.state().links.find(link_id).is_none()
    {
        return Err(ServiceProblem::not_found(format!(
            "there is no resource link `{link_id}` in this course"
        )));
    }
    let (entries, differences) = {
        let state = platform.state();
        (entries(&platform, &state.enrolment, &query)?, differences(&platform, &state.enrolment, &query))
    };
    let mut response = page.answer(&platform, &request, CONTAINER_TYPE, entries, |members| {
        json!({
            "id": url(&platform),
            "context": { "id": platform.course.id, "title": platform.course.title },
            "members": members,
        })
    });
    let link = HeaderValue::from_str(&format!("<{differences}>; rel=\"differences\""));
    response.headers_mut().append(LINK, link.expect("addresses of ours are visible ASCII"));
    Ok(response)
}

fn entries(
    platform: &Platform,
    enrolment: &Enrolment,
    query: &Parameters,
) -> Result<Vec<Value>, ServiceProblem> {
    let since = match query.find("since") {
        None => None,
        Some(text) => Some(text.parse().map_err(|_| {
            ServiceProblem::bad_request(format!("`{text}` is no address that was given out"))
        })?),
    };
    let changed = since.map(|since| enrolment.changed_since(since));
    let role = query.find("role");
    let told = |member: &&Member| {
        let id = member.person.id.as_str();
        let asked = match &changed {
            None => enrolment.status(id) != MemberStatus::Deleted,
            Some(changed) => changed.contains(id),
        };
        asked && role.is_none_or(|role| member.role.answers_to(role))
    };
    let members = platform.members.all().iter().filter(told);
    Ok(members.map(|member| entry(member, enrolment.status(&member.person.id))).collect())
}

/// Where everything is told that changes from now on, with the filters of this request.
fn differences(platform: &Platform, enrolment: &Enrolment, query: &Parameters) -> String {
    let mut address = form_urlencoded::Serializer::new(String::new());
    address.append_pair("course", &platform.course.id);
    for name in ["role", "rlid"] {
        if let Some(value) = query.find(name) {
            address.append_pair(name, value);
        }
    }
    address.append_pair("since", &enrolment.changes.len().to_string());
    format!("{}?{}", platform.url(PATH), address.finish())
}

fn entry(member: &Member, status: MemberStatus) -> Value {
    let mut value = json!({
        "user_id": member.person.id,
        "roles": member.role.uris(),
        "status": status,
        "name": member.person.name,
    });
    if let Some((given, family)) = member.name_parts() {
        value["given_name"] = given.into();
        value["family_name"] = family.into();
    }
    value
}
