//! A quiz's marking policy in words for teachers.

use qbank::accept::Credit;
use qbank::marking::Policy;

/// What the right value in another form than asked for earns; without a decision each question says so itself.
pub(crate) fn form_credit(credit: Option<Credit>) -> &'static str {
    match credit {
        None => "What each question says",
        Some(Credit::None) => "No points",
        Some(Credit::Part) => "Half the points",
        Some(Credit::Full) => "All points, with a note",
    }
}

/// The policy in a sentence or two for the teacher.
pub(crate) fn policy(policy: Policy) -> String {
    let later = if policy.follow_through {
        "A step that is right from the pupil's own earlier value earns points."
    } else {
        "Only the right value earns points, whatever the pupil's own earlier value."
    };
    match policy.form_credit {
        None => later.to_owned(),
        Some(credit) => {
            format!("{later} The right value in another form: {}.", form_credit(Some(credit)).to_lowercase())
        }
    }
}
