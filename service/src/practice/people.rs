//! The people of the course: one teacher and the pupils, and how launches and the roster describe them.

use std::collections::HashSet;

use serde::Serialize;

use super::PracticeError;
use super::clock;
use super::settings::PracticeSettings;

/// An invented person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Person {
    /// The platform's id for this person: `sub` of id_tokens, `userId` of scores.
    pub id: String,
    /// As shown to people.
    pub name: String,
}

/// What a person is in the course.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Teacher,
    Pupil,
}

impl Role {
    /// The roles sent in launches and in the roster, as full URIs.
    pub(super) fn uris(self) -> [&'static str; 2] {
        match self {
            Role::Teacher => [
                "http://purl.imsglobal.org/vocab/lis/v2/membership#Instructor",
                "http://purl.imsglobal.org/vocab/lis/v2/institution/person#Instructor",
            ],
            Role::Pupil => [
                "http://purl.imsglobal.org/vocab/lis/v2/membership#Learner",
                "http://purl.imsglobal.org/vocab/lis/v2/institution/person#Student",
            ],
        }
    }

    /// Whether a roster filter, a full URI or a short name, means this role.
    pub(super) fn answers_to(self, filter: &str) -> bool {
        let short = match self {
            Role::Teacher => "Instructor",
            Role::Pupil => "Learner",
        };
        filter == short || self.uris().contains(&filter)
    }
}

/// A person of the course, their role, and the opaque hint that stands for them in a login.
#[derive(Debug, Clone)]
pub(super) struct Member {
    pub(super) person: Person,
    pub(super) role: Role,
    /// Deliberately not the id, so that a tool which takes it for one fails here.
    pub(super) login_hint: String,
}

impl Member {
    fn new(person: Person, role: Role) -> Member {
        Member { person, role, login_hint: clock::unguessable() }
    }

    /// Given and family name, where the name has two parts.
    pub(super) fn name_parts(&self) -> Option<(&str, &str)> {
        self.person.name.split_once(' ')
    }
}

/// Everyone in the course, the teacher first.
#[derive(Debug)]
pub(super) struct Members(Vec<Member>);

impl Members {
    /// Refuses empty ids and ids used twice, since they could not be told apart later.
    pub(super) fn new(settings: &PracticeSettings) -> Result<Members, PracticeError> {
        let teacher = Member::new(settings.teacher.clone(), Role::Teacher);
        let pupils = settings.pupils.iter().map(|pupil| Member::new(pupil.clone(), Role::Pupil));
        let members: Vec<Member> = std::iter::once(teacher).chain(pupils).collect();

        let mut ids = HashSet::new();
        for member in &members {
            let id = member.person.id.as_str();
            if id.is_empty() || !ids.insert(id) {
                return Err(PracticeError::PersonId(id.to_owned()));
            }
        }
        Ok(Members(members))
    }

    pub(super) fn all(&self) -> &[Member] {
        &self.0
    }

    pub(super) fn find(&self, id: &str) -> Option<&Member> {
        self.0.iter().find(|member| member.person.id == id)
    }

    pub(super) fn pupils(&self) -> impl Iterator<Item = &Member> {
        self.0.iter().filter(|member| member.role == Role::Pupil)
    }
}
