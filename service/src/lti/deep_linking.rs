//! Deep linking: what a platform lets a teacher place, and our signed answer.
//!
//! Nothing is stored here. A platform may drop what we return, so a placement begins at its first launch.

use jiff::Timestamp;
use qbank::marking::Policy;
use serde_json::{Map, Value, json};
use url::Url;

use super::keys::Signer;
use super::{FailedCheck, vocabulary as v};
use crate::entropy;
use crate::settings::Reach;
use crate::storage::{ContextId, DeploymentId, Layout, PlacingRequest, PoolId, Registration};
use crate::windows::{Edge, Windows};

/// The most questions a pupil can be given.
pub const QUESTIONS_MAX: u32 = 100;
/// The most attempts a pupil can be given.
pub const ATTEMPTS_MAX: u32 = 20;
/// How long our answer is valid.
const LIFETIME_S: i64 = 300;

/// The link's own parameter that says whether own earlier values are followed, `yes` or `no`.
pub const FOLLOW_THROUGH: &str = "follow_through";
/// The link's own parameter that says what the right value in another form earns, by the credit's name; without it each
/// step says so itself.
pub const FORM_CREDIT: &str = "form_credit";
/// The link's own parameter that says how pupils see the questions, by the layout's name.
pub const LAYOUT: &str = "layout";

/// The link's own parameter that names its line item's `resourceId`. A course is copied with parameters and line items,
/// so both stay equal in the copy.
pub const RESOURCE_ID: &str = "quiz";
/// The link's own parameter that says in which time zone the teacher chose.
pub const TIME_ZONE: &str = "time_zone";
/// The most quizzes that are placed at once.
pub const QUIZZES_MAX: usize = 12;

/// A teacher's choice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlacedQuiz {
    /// The link's title in the course.
    pub title: String,
    /// The pool.
    pub pool: PoolId,
    /// How many questions each pupil gets, 1 to [`QUESTIONS_MAX`].
    pub question_count: u32,
    /// How many attempts each pupil has, 1 to [`ATTEMPTS_MAX`].
    pub attempts_allowed: u32,
    /// What earns points.
    pub policy: Policy,
    /// How pupils see the questions.
    pub layout: Layout,
    /// The points a line item gets at first; platforms rescale what we send.
    pub score_maximum: u32,
    /// Tells this quiz's line item from others of the same pool; see [`RESOURCE_ID`].
    pub resource_id: String,
    /// When it can be worked on, at first.
    pub windows: Windows,
    /// Whether pupils see the grade in the course as soon as it is there.
    pub grades_released: bool,
}

/// What goes back to the platform.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Choice {
    /// The quizzes, none when the teacher placed nothing. Where the platform takes one only, the first one counts.
    pub quizzes: Vec<PlacedQuiz>,
    /// Something for the teacher to read.
    pub message: Option<String>,
    /// Why nothing could be placed, for the teacher to read.
    pub problem: Option<String>,
}

/// Reads the claim of a deep-linking request.
///
/// # Errors
/// The check that failed.
pub fn read_settings(
    settings: &Map<String, Value>,
    context: Option<ContextId>,
    reach: Reach,
) -> Result<PlacingRequest, FailedCheck> {
    let text = |name: &str| match settings.get(name) {
        None => Ok(None),
        Some(Value::String(text)) => Ok(Some(text.clone())),
        Some(_) => Err(FailedCheck::ClaimType),
    };
    let return_url = text("deep_link_return_url")?.ok_or(FailedCheck::DeepLinkingSettings)?;
    let accept_types = texts(settings, "accept_types")?;
    texts(settings, "accept_presentation_document_targets")?;
    let return_url = Url::parse(&return_url).map_err(|_| FailedCheck::ReturnUrl)?;
    reach.check("deep_link_return_url", &return_url).map_err(|_| FailedCheck::ReturnUrl)?;
    Ok(PlacingRequest {
        return_url,
        accept_types,
        accept_multiple: flag(settings, "accept_multiple")?.unwrap_or(false),
        accept_line_item: flag(settings, "accept_lineitem")?,
        data: text("data")?,
        title: text("title")?,
        context,
    })
}

/// A required list of texts.
fn texts(settings: &Map<String, Value>, name: &str) -> Result<Vec<String>, FailedCheck> {
    let list = settings.get(name).ok_or(FailedCheck::DeepLinkingSettings)?;
    let list = list.as_array().ok_or(FailedCheck::ClaimType)?;
    list.iter().map(|one| one.as_str().map(str::to_owned).ok_or(FailedCheck::ClaimType)).collect()
}

/// An optional flag; some platforms write flags as text.
fn flag(settings: &Map<String, Value>, name: &str) -> Result<Option<bool>, FailedCheck> {
    match settings.get(name) {
        None => Ok(None),
        Some(Value::Bool(flag)) => Ok(Some(*flag)),
        Some(Value::String(text)) if text == "true" => Ok(Some(true)),
        Some(Value::String(text)) if text == "false" => Ok(Some(false)),
        Some(_) => Err(FailedCheck::ClaimType),
    }
}

/// The signed answer: a link for each quiz, or none when the teacher placed nothing.
pub fn response(
    choice: &Choice,
    request: &PlacingRequest,
    registration: &Registration,
    deployment: &DeploymentId,
    launch_url: &Url,
    signer: &Signer,
    now: Timestamp,
) -> String {
    let issued_at = now.as_second();
    let most = if request.accept_multiple { QUIZZES_MAX } else { 1 };
    let quizzes = choice.quizzes.iter().take(most);
    let items: Vec<Value> = quizzes.map(|quiz| content_item(quiz, request, launch_url)).collect();
    let mut claims = json!({
        "iss": registration.platform.client_id,
        "aud": registration.platform.issuer,
        "iat": issued_at,
        "exp": issued_at + LIFETIME_S,
        "nonce": entropy::secret(),
        (v::MESSAGE_TYPE): v::DEEP_LINKING_RESPONSE,
        (v::VERSION): v::VERSION_1_3,
        (v::DEPLOYMENT_ID): deployment,
        (v::CONTENT_ITEMS): items,
    });
    if let Some(data) = &request.data {
        claims[v::DEEP_LINKING_DATA] = json!(data);
    }
    for (name, text) in
        [(v::DEEP_LINKING_MESSAGE, &choice.message), (v::DEEP_LINKING_ERROR_MESSAGE, &choice.problem)]
    {
        if let Some(text) = text {
            claims[name] = json!(text);
        }
    }
    signer.sign(&claims)
}

fn content_item(quiz: &PlacedQuiz, request: &PlacingRequest, launch_url: &Url) -> Value {
    let mut item = json!({
        "type": v::RESOURCE_LINK_ITEM,
        "title": quiz.title,
        "url": launch_url,
        "custom": {
            "pool": quiz.pool,
            "questions": quiz.question_count.to_string(),
            "attempts": quiz.attempts_allowed.to_string(),
            (FOLLOW_THROUGH): if quiz.policy.follow_through { "yes" } else { "no" },
            (LAYOUT): quiz.layout.name(),
            (RESOURCE_ID): quiz.resource_id,
        },
    });
    put_windows(&mut item, &quiz.windows);
    if let Some(credit) = quiz.policy.form_credit {
        item["custom"][FORM_CREDIT] = json!(credit.name());
    }
    if request.accept_line_item != Some(false) {
        item["lineItem"] = json!({
            "label": quiz.title,
            "scoreMaximum": quiz.score_maximum,
            "resourceId": quiz.resource_id,
            "tag": "grade",
            "gradesReleased": quiz.grades_released,
        });
    }
    item
}

/// The windows as first values for the platform, the same as the link's own parameters for platforms that do not keep
/// them, and the variables by which those that do tell us later what holds.
fn put_windows(item: &mut Value, windows: &Windows) {
    for edge in Edge::ALL {
        item["custom"][edge.name()] = json!(edge.variable());
        if let Some(moment) = windows.edges.get(&edge) {
            let (window, end) = edge.members();
            item[window][end] = json!(moment.at);
            item["custom"][edge.placed_name()] = json!(moment.at);
        }
    }
    if let Some(zone) = &windows.zone {
        item["custom"][TIME_ZONE] = json!(zone);
    }
}
