//! Who is who on the class page: names or labels, who counts, who has not started, who has left.

use std::collections::{BTreeMap, BTreeSet};

use super::label::label;
use super::roster::ClassList;
use crate::storage::{Attempt, Member, MemberStatus, Part, PersonName, UserId};
use crate::texts::Texts;

/// The name of a pupil where names are kept, else the label.
pub(super) fn name_or_label(texts: &Texts, member: Option<&Member>, user: &UserId) -> String {
    let name = member.and_then(|member| member.name.as_ref());
    name.map_or_else(|| label(texts, user), |name| PersonName::shown(name).to_owned())
}

/// The people of a course, and who of them has started.
pub(super) struct People<'a> {
    texts: &'a Texts,
    members: BTreeMap<&'a UserId, &'a Member>,
    started: BTreeSet<&'a UserId>,
    /// Whether the platform's list was ever read, so that those who have not started are known.
    listed: bool,
}

impl<'a> People<'a> {
    pub(super) fn of(texts: &'a Texts, class: &'a ClassList, attempts: &'a [Attempt]) -> Self {
        Self {
            texts,
            members: class.members.iter().map(|member| (&member.user, member)).collect(),
            started: attempts.iter().map(|attempt| &attempt.user).collect(),
            listed: class.roster.as_ref().is_some_and(|roster| roster.read_at.is_some()),
        }
    }

    /// The pupil's name where names are kept, else the label.
    pub(super) fn label(&self, user: &UserId) -> String {
        name_or_label(self.texts, self.members.get(user).copied(), user)
    }

    /// What is special about a person who has attempts.
    pub(super) fn mark(&self, user: &UserId) -> Option<String> {
        let member = self.members.get(user)?;
        match (member.part, member.status) {
            (Part::Preview, _) => Some(self.texts.say("class-preview-user")),
            (Part::Teacher | Part::Other, _) => Some(self.texts.say("class-no-pupil")),
            (Part::Pupil, MemberStatus::Active) => None,
            (Part::Pupil, MemberStatus::Inactive | MemberStatus::Deleted) => {
                Some(self.texts.say("class-left"))
            }
        }
    }

    /// Whether a person is one of those the class is counted by. Who is not known otherwise is a pupil.
    pub(super) fn counts(&self, user: &UserId) -> bool {
        self.members
            .get(user)
            .is_none_or(|member| member.part == Part::Pupil && member.status == MemberStatus::Active)
    }

    /// Pupils of the course without an attempt, by label, with the platform's id.
    pub(super) fn not_started(&self) -> Vec<(String, String)> {
        let waiting = self.members.keys().filter(|user| self.counts(user) && !self.started.contains(*user));
        let mut waiting: Vec<_> = waiting.map(|user| (self.label(user), user.to_string())).collect();
        waiting.sort();
        waiting
    }

    /// "12 of 24 pupils, 14 have started"; without a list only those who started are known.
    pub(super) fn handed_in(&self, attempts: &[Attempt]) -> String {
        let done: BTreeSet<&UserId> =
            attempts.iter().filter(|attempt| attempt.result.is_some()).map(|attempt| &attempt.user).collect();
        let count = |users: &BTreeSet<&UserId>| users.iter().filter(|user| self.counts(user)).count();
        let (done, started) = (count(&done), count(&self.started));
        if self.listed {
            let all = started + self.not_started().len();
            self.texts.with(
                "class-handed-in-listed",
                &[("done", done.into()), ("all", all.into()), ("started", started.into())],
            )
        } else {
            self.texts.with("class-handed-in-started", &[("done", done.into()), ("started", started.into())])
        }
    }
}
