//! What people see: the front page, the course, the gradebook, and an activity in a frame. Rendered here, without
//! scripts except the one that submits a form which passes something between platform and tool, and the one that keeps
//! values for the tool in a frame ([`super::message_storage`]).
//!
//! Signing in is choosing a name. The choice is kept in a cookie; scripts without cookies add `?as=ID` to any address
//! instead, and every link on the page they get does the same.

use std::collections::HashMap;

use actix_web::cookie::{Cookie, SameSite};
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, ContentType, LOCATION, REFERRER_POLICY};
use actix_web::web::{Bytes, Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use askama::Template;
use jiff::Timestamp;
use url::form_urlencoded;

use super::clock;
use super::gradebook::{self, Cell, Gradebook};
use super::links::Link;
use super::message_storage::{self, Peer};
use super::parameters::Parameters;
use super::people::{Member, Person, Role};
use super::problems::PageProblem;
use super::scores::GradingProgress;
use super::state::Platform;

/// Browsers share cookies between all ports of a host, so the name has to be this platform's own.
const SESSION_COOKIE: &str = "practice_session";

/// How a visitor said who they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SignIn {
    /// By the cookie.
    Session,
    /// By `?as=ID`.
    Query,
}

/// A person of the course who visits, and how they said who they are.
pub(super) struct Visitor<'a> {
    pub(super) member: &'a Member,
    pub(super) sign_in: SignIn,
}

/// Who is signed in, by the value of the cookie.
#[derive(Debug, Default)]
pub(super) struct Sessions(HashMap<String, String>);

/// The query parameters of a page.
pub(super) fn query(request: &HttpRequest) -> Result<Parameters, PageProblem> {
    Parameters::parse(request.query_string().as_bytes())
        .map_err(|repeated| PageProblem::bad_request(repeated.to_string()))
}

/// The person whom the browser's cookie stands for.
pub(super) fn signed_in_person<'a>(platform: &'a Platform, request: &HttpRequest) -> Option<&'a Person> {
    let cookie = request.cookie(SESSION_COOKIE)?;
    let person_id = platform.state().sessions.0.get(cookie.value()).cloned()?;
    Some(&platform.members.find(&person_id)?.person)
}

/// Who visits.
pub(super) fn visitor<'a>(platform: &'a Platform, request: &HttpRequest) -> Result<Visitor<'a>, PageProblem> {
    if let Some(id) = query(request)?.find("as") {
        let member = find_member(platform, id)?;
        return Ok(Visitor { member, sign_in: SignIn::Query });
    }
    let person = signed_in_person(platform, request).ok_or_else(|| {
        PageProblem::new(
            StatusCode::UNAUTHORIZED,
            "nobody is signed in here; choose a name on the front page",
        )
    })?;
    Ok(Visitor { member: find_member(platform, &person.id)?, sign_in: SignIn::Session })
}

fn find_member<'a>(platform: &'a Platform, id: &str) -> Result<&'a Member, PageProblem> {
    let found = platform.members.find(id);
    found.ok_or_else(|| {
        PageProblem::new(StatusCode::NOT_FOUND, format!("there is no person `{id}` in the course"))
    })
}

/// `path` for a person who signed in like this: with `as` in the query if that is how.
pub(super) fn address(path: &str, person_id: &str, sign_in: SignIn) -> String {
    match sign_in {
        SignIn::Session => path.to_owned(),
        SignIn::Query => {
            let id: String = form_urlencoded::byte_serialize(person_id.as_bytes()).collect();
            format!("{path}?as={id}")
        }
    }
}

/// A rendered page. Never cached and never named to other servers, since some carry tokens.
pub(super) fn page(template: &impl Template) -> HttpResponse {
    match template.render() {
        Ok(body) => HttpResponse::Ok()
            .insert_header(ContentType::html())
            .insert_header((CACHE_CONTROL, "no-store"))
            .insert_header((REFERRER_POLICY, "no-referrer"))
            .body(body),
        Err(error) => {
            tracing::error!(%error, "a page of the practice platform could not be rendered");
            HttpResponse::InternalServerError().finish()
        }
    }
}

fn see_other(path: &str) -> HttpResponse {
    HttpResponse::SeeOther().insert_header((LOCATION, path)).finish()
}

#[derive(Template)]
#[template(path = "practice/front.html")]
struct FrontPage<'a> {
    title: &'a str,
    teacher: Vec<&'a Person>,
    pupils: Vec<&'a Person>,
}

/// The front page: the course, and whom to enter it as.
pub(super) async fn front(platform: Data<Platform>) -> HttpResponse {
    let of_role = |role| {
        let members = platform.members.all().iter().filter(move |member| member.role == role);
        members.map(|member| &member.person).collect()
    };
    page(&FrontPage {
        title: &platform.course.title,
        teacher: of_role(Role::Teacher),
        pupils: of_role(Role::Pupil),
    })
}

/// Signs a person in by the form field `person`.
pub(super) async fn enter(platform: Data<Platform>, body: Bytes) -> Result<HttpResponse, PageProblem> {
    let form = Parameters::parse(&body).map_err(|repeated| PageProblem::bad_request(repeated.to_string()))?;
    let id =
        form.find("person").ok_or_else(|| PageProblem::bad_request("the form field person is missing"))?;
    let person_id = find_member(&platform, id)?.person.id.clone();
    let session = clock::unguessable();
    platform.state().sessions.0.insert(session.clone(), person_id);
    let cookie =
        Cookie::build(SESSION_COOKIE, session).path("/").http_only(true).same_site(SameSite::Lax).finish();
    Ok(HttpResponse::SeeOther().insert_header((LOCATION, "/course")).cookie(cookie).finish())
}

/// Signs out.
pub(super) async fn leave(platform: Data<Platform>, request: HttpRequest) -> HttpResponse {
    if let Some(cookie) = request.cookie(SESSION_COOKIE) {
        platform.state().sessions.0.remove(cookie.value());
    }
    see_other("/")
}

#[derive(Template)]
#[template(path = "practice/course.html")]
struct CoursePage<'a> {
    title: &'a str,
    person: &'a Person,
    teaches: bool,
    message: Option<String>,
    activities: Vec<Activity>,
    add_address: String,
    gradebook_address: String,
}

struct Activity {
    title: String,
    text: Option<String>,
    due: Option<String>,
    open_address: String,
    frame_address: String,
    grades: Vec<String>,
}

/// The course as its teacher or one of the pupils sees it.
pub(super) async fn course(
    platform: Data<Platform>,
    request: HttpRequest,
) -> Result<HttpResponse, PageProblem> {
    let visitor = visitor(&platform, &request)?;
    let person = &visitor.member.person;
    let gradebook = gradebook::snapshot(&platform);
    let links = platform.state().links.all().to_vec();
    let message = platform.state().deep_linking.take_message(&person.id);
    let activities = links.iter().map(|link| activity(link, &gradebook, &visitor)).collect();
    Ok(page(&CoursePage {
        title: &platform.course.title,
        person,
        teaches: visitor.member.role == Role::Teacher,
        message,
        activities,
        add_address: address("/activities/add", &person.id, visitor.sign_in),
        gradebook_address: address("/gradebook", &person.id, visitor.sign_in),
    }))
}

fn activity(link: &Link, gradebook: &Gradebook, visitor: &Visitor<'_>) -> Activity {
    let person = &visitor.member.person;
    let own_cells = gradebook.rows.iter().find(|row| row.pupil == *person).map_or(&[][..], |row| &row.cells);
    let grades = gradebook
        .columns
        .iter()
        .zip(own_cells)
        .filter(|(column, _)| column.resource_link_id.as_deref() == Some(&link.id))
        .filter_map(|(column, cell)| {
            let points = cell.as_ref()?.points?;
            Some(format!("{points} of {}", column.maximum))
        })
        .collect();
    let due = link.submission.end_date_time.as_deref().and_then(|date| date.parse().ok());
    Activity {
        title: link.title.clone(),
        text: link.text.clone(),
        due: due.map(|due: Timestamp| due.strftime("%-d %B %Y, %H:%M UTC").to_string()),
        open_address: address(&format!("/links/{}/open", link.id), &person.id, visitor.sign_in),
        frame_address: address(&format!("/frame/links/{}", link.id), &person.id, visitor.sign_in),
        grades,
    }
}

#[derive(Template)]
#[template(path = "practice/frame.html")]
struct FramePage<'a> {
    title: &'a str,
    activity: &'a str,
    source: String,
    course_address: String,
    peer: Peer,
    storage_frame: Option<&'static str>,
}

/// An activity in a frame of a page of the platform.
pub(super) async fn frame(
    platform: Data<Platform>,
    request: HttpRequest,
    link_id: Path<String>,
) -> Result<HttpResponse, PageProblem> {
    let visitor = visitor(&platform, &request)?;
    let person_id = &visitor.member.person.id;
    let link = platform.state().links.find(&link_id).cloned();
    let link = link.ok_or_else(|| {
        PageProblem::new(StatusCode::NOT_FOUND, format!("there is no activity `{link_id}`"))
    })?;
    let source = address(&format!("/links/{}/open", link.id), person_id, visitor.sign_in);
    let separator = if source.contains('?') { '&' } else { '?' };
    Ok(page(&FramePage {
        title: &platform.course.title,
        activity: &link.title,
        source: format!("{source}{separator}target=iframe"),
        course_address: address("/course", person_id, visitor.sign_in),
        peer: Peer::of_page(&platform),
        storage_frame: message_storage::frame_name(&platform),
    }))
}

#[derive(Template)]
#[template(path = "practice/gradebook.html")]
struct GradebookPage<'a> {
    title: &'a str,
    course_address: String,
    columns: Vec<ColumnHead>,
    rows: Vec<PupilRow>,
}

struct ColumnHead {
    label: String,
    maximum: String,
}

struct PupilRow {
    name: String,
    cells: Vec<Option<CellText>>,
}

struct CellText {
    score: String,
    received: String,
    comment: Option<String>,
}

/// The gradebook, for the teacher only.
pub(super) async fn gradebook(
    platform: Data<Platform>,
    request: HttpRequest,
) -> Result<HttpResponse, PageProblem> {
    let visitor = visitor(&platform, &request)?;
    if visitor.member.role != Role::Teacher {
        return Err(PageProblem::new(StatusCode::FORBIDDEN, "only the teacher sees the gradebook"));
    }
    let Gradebook { columns, rows } = gradebook::snapshot(&platform);
    let row = |row: gradebook::Row| PupilRow {
        name: row.pupil.name,
        cells: row
            .cells
            .into_iter()
            .zip(&columns)
            .map(|(cell, column)| Some(cell_text(cell?, &column.maximum.to_string())))
            .collect(),
    };
    Ok(page(&GradebookPage {
        title: &platform.course.title,
        course_address: address("/course", &visitor.member.person.id, visitor.sign_in),
        rows: rows.into_iter().map(row).collect(),
        columns: columns
            .iter()
            .map(|column| ColumnHead { label: column.label.clone(), maximum: column.maximum.to_string() })
            .collect(),
    }))
}

fn cell_text(cell: Cell, maximum: &str) -> CellText {
    let score = match (cell.points, cell.grading_progress) {
        (Some(points), _) => format!("{points} of {maximum}"),
        (None, GradingProgress::Pending | GradingProgress::PendingManual) => "not final yet".to_owned(),
        (None, _) => "no score".to_owned(),
    };
    let received = cell.received.strftime("%-d %b, %H:%M:%S UTC").to_string();
    CellText { score, received, comment: cell.comment }
}
