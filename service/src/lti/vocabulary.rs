//! The standard's own words: claim names, roles, scopes and media types.

/// Prefix of the core claims.
macro_rules! claim {
    ($name:literal) => {
        concat!("https://purl.imsglobal.org/spec/lti/claim/", $name)
    };
}

/// What kind of message a token is.
pub const MESSAGE_TYPE: &str = claim!("message_type");
/// The version of the standard.
pub const VERSION: &str = claim!("version");
/// Where on the platform we are installed.
pub const DEPLOYMENT_ID: &str = claim!("deployment_id");
/// Which of our addresses is meant.
pub const TARGET_LINK_URI: &str = claim!("target_link_uri");
/// The link that was followed.
pub const RESOURCE_LINK: &str = claim!("resource_link");
/// What the person is in the course.
pub const ROLES: &str = claim!("roles");
/// The course.
pub const CONTEXT: &str = claim!("context");
/// The link's own parameters.
pub const CUSTOM: &str = claim!("custom");
/// What the platform is.
pub const TOOL_PLATFORM: &str = claim!("tool_platform");
/// How we are shown.
pub const LAUNCH_PRESENTATION: &str = claim!("launch_presentation");
/// Identifiers of a school's other systems.
pub const LIS: &str = claim!("lis");
/// Whom a mentor looks after.
pub const ROLE_SCOPE_MENTOR: &str = claim!("role_scope_mentor");
/// Where grades go.
pub const GRADE_ENDPOINT: &str = "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint";
/// Where the platform tells who is in the course.
pub const ROSTER_SERVICE: &str = "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice";
/// What deep linking asks for.
pub const DEEP_LINKING_SETTINGS: &str = "https://purl.imsglobal.org/spec/lti-dl/claim/deep_linking_settings";
/// What deep linking returns.
pub const CONTENT_ITEMS: &str = "https://purl.imsglobal.org/spec/lti-dl/claim/content_items";
/// Opaque text that deep linking gives back.
pub const DEEP_LINKING_DATA: &str = "https://purl.imsglobal.org/spec/lti-dl/claim/data";
/// Something that deep linking tells the teacher.
pub const DEEP_LINKING_MESSAGE: &str = "https://purl.imsglobal.org/spec/lti-dl/claim/msg";
/// Why deep linking came to nothing, for the teacher.
pub const DEEP_LINKING_ERROR_MESSAGE: &str = "https://purl.imsglobal.org/spec/lti-dl/claim/errormsg";

/// The only version there is.
pub const VERSION_1_3: &str = "1.3.0";
/// A person followed a link.
pub const RESOURCE_LINK_REQUEST: &str = "LtiResourceLinkRequest";
/// A teacher wants to place something.
pub const DEEP_LINKING_REQUEST: &str = "LtiDeepLinkingRequest";
/// Our answer to that.
pub const DEEP_LINKING_RESPONSE: &str = "LtiDeepLinkingResponse";
/// A content item that is a link to us.
pub const RESOURCE_LINK_ITEM: &str = "ltiResourceLink";

/// Prefix of roles in a course.
pub const MEMBERSHIP_ROLE: &str = "http://purl.imsglobal.org/vocab/lis/v2/membership";
/// A learner of a course.
pub const LEARNER_ROLE: &str = "http://purl.imsglobal.org/vocab/lis/v2/membership#Learner";
/// Marks a platform's preview user.
pub const TEST_USER: &str = "http://purl.imsglobal.org/vocab/lti/system/person#TestUser";

/// Scope: make and change line items.
pub const SCOPE_LINE_ITEM: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem";
/// Scope: read line items.
pub const SCOPE_LINE_ITEM_READ: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem.readonly";
/// Scope: send scores.
pub const SCOPE_SCORE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/score";
/// Scope: read results back.
pub const SCOPE_RESULT: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly";

/// Scope: read who is in a course.
pub const SCOPE_ROSTER: &str = "https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly";

/// Media type of a class list.
pub const MEDIA_MEMBERS: &str = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json";
/// Media type of one line item.
pub const MEDIA_LINE_ITEM: &str = "application/vnd.ims.lis.v2.lineitem+json";
/// Media type of a list of line items.
pub const MEDIA_LINE_ITEMS: &str = "application/vnd.ims.lis.v2.lineitemcontainer+json";
/// Media type of a score message.
pub const MEDIA_SCORE: &str = "application/vnd.ims.lis.v1.score+json";
/// Media type of a list of results.
pub const MEDIA_RESULTS: &str = "application/vnd.ims.lis.v2.resultcontainer+json";
