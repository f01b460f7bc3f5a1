//! A quiz's marking policy in words for teachers.

use qbank::accept::Credit;
use qbank::marking::Policy;

use crate::texts::Texts;

/// The message for what the right value in another form than asked for earns; without a decision each question says so
/// itself.
pub(crate) fn form_credit(credit: Option<Credit>) -> &'static str {
    match credit {
        None => "class-place-form-each",
        Some(Credit::None) => "class-place-form-none",
        Some(Credit::Part) => "class-place-form-part",
        Some(Credit::Full) => "class-place-form-full",
    }
}

/// The policy in a sentence or two for the teacher.
pub(crate) fn policy(texts: &Texts, policy: Policy) -> String {
    texts.say(match (policy.follow_through, policy.form_credit) {
        (true, None) => "class-marking-own",
        (true, Some(Credit::None)) => "class-marking-own-form-none",
        (true, Some(Credit::Part)) => "class-marking-own-form-part",
        (true, Some(Credit::Full)) => "class-marking-own-form-full",
        (false, None) => "class-marking-only",
        (false, Some(Credit::None)) => "class-marking-only-form-none",
        (false, Some(Credit::Part)) => "class-marking-only-form-part",
        (false, Some(Credit::Full)) => "class-marking-only-form-full",
    })
}
