//! The class list (Names and Role Provisioning): who is in the course, and in which role.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use serde_json::{Value, json};

use super::access_tokens::Scope;
use super::paging::PageRequest;
use super::people::Member;
use super::problems::ServiceProblem;
use super::service_request::{authorize, require_accept};
use super::state::Platform;

const CONTAINER_TYPE: &str = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json";

/// Address of the class list, with a query string that has to be kept.
pub(super) fn url(platform: &Platform) -> String {
    format!("{}?course={}", platform.url("/services/roster"), platform.course.id)
}

/// `GET` on the class list, with the filters `role` and `rlid`.
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
    let role = query.find("role");
    let members = platform.members.all().iter();
    let entries =
        members.filter(|member| role.is_none_or(|role| member.role.answers_to(role))).map(entry).collect();
    Ok(page.answer(&platform, &request, CONTAINER_TYPE, entries, |members| {
        json!({
            "id": url(&platform),
            "context": { "id": platform.course.id, "title": platform.course.title },
            "members": members,
        })
    }))
}

fn entry(member: &Member) -> Value {
    let mut value = json!({
        "user_id": member.person.id,
        "roles": member.role.uris(),
        "status": "Active",
        "name": member.person.name,
    });
    if let Some((given, family)) = member.name_parts() {
        value["given_name"] = given.into();
        value["family_name"] = family.into();
    }
    value
}
