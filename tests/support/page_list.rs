//! Every page there is, and where it is looked at: what makes 'every page, in both languages' a thing that can be
//! checked.
//!
//! [`LOOKS`] has a row for each look that a flow takes; [`looks::inspect`](crate::looks::inspect) refuses a page that
//! is not where its row says (pages that stand only for a moment are looked at by
//! [`looks::inspect_still`](crate::looks::inspect_still), without a row), and [`looks::all_seen`](crate::looks::all_seen) at the end of a flow fails for rows that
//! nobody has looked at. [`NOT_PAGES`] has the addresses that show nothing to people. A test holds both against the
//! route tables.

/// One look: which page, in which flow, in which languages.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// Name of the look; what is told when something is wrong there.
    pub name: &'static str,
    /// The page's address as the route table writes it. [`NOWHERE`] for one that is in no table.
    pub route: &'static str,
    /// The flow in `tests/flows` that takes it.
    pub flow: &'static str,
    /// Tags of the languages, as the page itself tells them.
    pub languages: &'static [&'static str],
}

/// The route of addresses that are in no table.
pub const NOWHERE: &str = "*";
/// The service's own pages are told in both.
pub const BOTH: &[&str] = &["en-US", "es-US"];
/// The practice platform of the demonstration speaks English only.
pub const PRACTICE: &[&str] = &["en"];
/// What a form answers is looked at once, where the page with the form is looked at in both.
const ONCE: &[&str] = &["en-US"];

const fn look(
    flow: &'static str,
    route: &'static str,
    name: &'static str,
    languages: &'static [&'static str],
) -> Look {
    Look { name, route, flow, languages }
}

/// Every look.
pub const LOOKS: &[Look] = &[
    // Refusals
    look("looks", NOWHERE, "a page that is not here", BOTH),
    look("looks", "/quiz/{placement}", "another pupil's quiz", BOTH),
    look("looks", "/class/{placement}", "another teacher's class", BOTH),
    look("looks", "/lti/login", "a login that cannot be", BOTH),
    look("looks", "/lti/launch", "a launch that cannot be", BOTH),
    look("looks", "/lti/register", "a registration that is refused", BOTH),
    look("registration", "/lti/register", "a registration to be confirmed", BOTH),
    // Pupils
    look("quiz", "/quiz/{placement}", "start of a quiz", BOTH),
    look("quiz", "/quiz/{placement}/{attempt}", "questions on a page", BOTH),
    look("quiz", "/quiz/{placement}/{attempt}", "questions on a page with the grid", BOTH),
    look("quiz", "/quiz/{placement}/{attempt}", "result", BOTH),
    look("quiz", "/quiz/{placement}/{attempt}", "one question at a time", BOTH),
    look("quiz", "/quiz/{placement}/{attempt}", "the last page", BOTH),
    look("quiz", "/quiz/{placement}/practice", "practice", BOTH),
    look("quiz", "/quiz/{placement}/practice", "practice marked", BOTH),
    // Teachers
    look("browser", "/class/place", "the teacher places a quiz", ONCE),
    look("teacher", "/class/place", "the teacher chooses a pool", BOTH),
    look("teacher", "/class/place/preview", "what three pupils would get", BOTH),
    look("teacher", "/class/{placement}", "who needs what", BOTH),
    look("teacher", "/class/{placement}", "the class, question by question", BOTH),
    look("teacher", "/class/{placement}/times", "the times of a quiz", BOTH),
    look("teacher", "/class/{placement}/grades", "points and grades", BOTH),
    look("teacher", "/class/{placement}/{attempt}", "an attempt, for the teacher", BOTH),
    look("teacher", "/class/{placement}/{attempt}", "an attempt with changed points", BOTH),
    look("paper", "/class/{placement}/paper", "paper for a quiz", BOTH),
    look("paper", "/class/{placement}/paper", "sheets of a quiz", BOTH),
    look("paper", "/class/{placement}/paper/print", "sheets to be printed", BOTH),
    look("paper", "/class/{placement}/paper/enter", "a code that no sheet has", BOTH),
    look("paper", "/class/{placement}/paper/enter", "a sheet to be typed in", BOTH),
    // Coordinators
    look("district", "/district/sign-in", "signing in", BOTH),
    look("district", "/district", "the coordinator's overview", BOTH),
    look("district", "/district/families", "all families", BOTH),
    look("district", "/district/families/{family}", "a family", BOTH),
    look("district", "/district/pools", "all pools", BOTH),
    look("district", "/district/pools/plan", "a plan", BOTH),
    look("district", "/district/pools/plan", "what there is for a choice", ONCE),
    look("district", "/district/pools/plan", "a pool that was made", ONCE),
    look("district", "/district/pools/{pool}", "a pool", BOTH),
    look("district", "/district/examine", "trying out a package", BOTH),
    look("district", "/district/jobs", "all jobs", BOTH),
    look("district", "/district/jobs/{job}", "a package that was made", BOTH),
    look("district", "/district/jobs/{job}", "a package that was tried out", ONCE),
    look("district", "/district/platforms", "all platforms", BOTH),
    look("district", "/district/platforms/{platform}", "a platform", BOTH),
    look("district", "/district/tokens", "all tokens", BOTH),
    look("district", "/district/tokens", "a token that was made", ONCE),
    look("district", "/district/deliveries", "grades that wait", BOTH),
    look("district", "/district/use", "use over all schools", BOTH),
    look("district", "/district/audit", "all changes", BOTH),
    // The practice platform
    look("looks", "/", "the practice platform's front page", PRACTICE),
    look("looks", "/course", "the practice platform's course, for a pupil", PRACTICE),
    look("browser", "/course", "the practice platform's course", PRACTICE),
    look("browser", "/gradebook", "the practice platform's gradebook", PRACTICE),
    look("looks", "/frame/links/{link}", "the practice platform's frame", PRACTICE),
    look("looks", "/registrations", "the practice platform's registrations", PRACTICE),
    look("looks", "/links/{link}/open", "a refusal of the practice platform", PRACTICE),
];

/// Addresses that show people nothing of their own, each with the reason.
pub const NOT_PAGES: &[(&str, &str)] = &[
    ("/lti/keys", "a key set for platforms"),
    ("/language", "leads back to the page it came from"),
    ("/class/{placement}/marks.csv", "a file"),
    ("/class/{placement}/paper/sheets.pdf", "a file; its looks are checked in 'paper'"),
    ("/class/{placement}/paper/key.pdf", "a file; its looks are checked in 'paper'"),
    ("/district/pools/{pool}/file", "a file"),
    ("/district/jobs/{job}/file", "a file"),
    ("/district/use.csv", "a file"),
    ("/district/use-courses.csv", "a file"),
    ("/api/openapi.json", "for programs"),
    ("/static/close.js", "a script"),
    ("/static/again.js", "a script"),
    ("/static/quiz.js", "a script"),
    ("/static/platform-storage.js", "a script"),
    ("/static/tenths.css", "the style sheet"),
    ("/health/live", "for programs"),
    ("/health/ready", "for programs"),
    ("/metrics", "for programs"),
    // The practice platform
    ("/message-storage.js", "a script"),
    ("/message-storage/frame", "a frame without content"),
    ("/message-storage/impostor", "a frame without content, for a test"),
    ("/activities/add", "leads on to the service"),
    ("/authorize", "leads on to the service, with a button where scripts are off"),
    ("/keys", "a key set for the service"),
    ("/.well-known/openid-configuration", "for programs"),
];

/// Whether an address fits a route: the same parts, `{…}` for any one.
pub fn fits(route: &str, path: &str) -> bool {
    let (route, path) = (route.split('/'), path.trim_end_matches('/').split('/'));
    let (route, path): (Vec<_>, Vec<_>) = (route.collect(), path.collect());
    if route == ["", ""] {
        return path == [""];
    }
    route.len() == path.len()
        && route.iter().zip(path).all(|(part, given)| part.starts_with('{') || *part == given)
}
