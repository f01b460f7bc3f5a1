//! Roles of the standard, boiled down to what they mean here.

use super::vocabulary as v;
use crate::storage::Part;

/// What roles make of a person. Full addresses and short names count, unknown roles are ignored; whoever teaches is a
/// teacher, whatever else they are.
pub(crate) fn part(roles: &[&str]) -> Part {
    let has = |wanted: &[&str]| roles.iter().any(|role| wanted.contains(&course_role(role)));
    if has(&["Instructor", "ContentDeveloper", "Administrator"]) {
        Part::Teacher
    } else if roles.contains(&v::TEST_USER) {
        Part::Preview
    } else if has(&["Learner"]) {
        Part::Pupil
    } else {
        Part::Other
    }
}

/// The role in the course that a full address or a short name means: `…membership#Instructor`,
/// `…membership/Instructor#TeachingAssistant` and `Instructor` are all `Instructor`.
fn course_role(role: &str) -> &str {
    match role.strip_prefix(v::MEMBERSHIP_ROLE) {
        Some(rest) => match rest.strip_prefix('/') {
            Some(sub_role) => sub_role.split('#').next().unwrap_or_default(),
            None => rest.trim_start_matches('#'),
        },
        None => role,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Role addresses: checklist section 1.3.
    #[test]
    fn full_short_and_several_roles_are_boiled_down() {
        let membership = |role: &str| format!("http://purl.imsglobal.org/vocab/lis/v2/membership{role}");
        for (roles, expected) in [
            (vec![membership("#Learner")], Part::Pupil),
            (vec!["Learner".into()], Part::Pupil),
            (vec![membership("/Learner#GuestLearner")], Part::Pupil),
            (vec![membership("#Learner"), membership("#Instructor")], Part::Teacher),
            (vec![membership("/Instructor#TeachingAssistant")], Part::Teacher),
            (vec![membership("#Learner"), v::TEST_USER.into()], Part::Preview),
            (vec![membership("#Mentor"), "Librarian".into()], Part::Other),
            (
                vec!["http://purl.imsglobal.org/vocab/lis/v2/institution/person#Instructor".into()],
                Part::Other,
            ),
            (vec![], Part::Other),
        ] {
            let roles: Vec<&str> = roles.iter().map(String::as_str).collect();
            assert_eq!(part(&roles), expected, "{roles:?}");
        }
    }
}
