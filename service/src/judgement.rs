//! What each pupil's answers, taken together, are consistent with, and what to ask next: beliefs kept pupil by pupil
//! while marks go by.
//!
//! A step that a teacher has given all its points although the answer is not right says nothing here: the teacher has seen
//! more than the answer, and whether the way to it was right or a slip on the keyboard, a mark does not tell. It counts
//! neither for nor against a misunderstanding.
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
};

use qbank::{
    diagnosis::{Beliefs, Evidence, Probe, choose_next},
    marking::{Mark, StepMark, Verdict},
    pool::Pool,
    question::Item,
};
use serde::Serialize;
use utoipa::ToSchema;

/// How many misconceptions are named beside a question to ask next.
const SHOWN: usize = 5;

/// What may be said of a pupil in one group of misconceptions: a name or two.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct PupilDiagnosis {
    /// Who answered.
    pub(crate) pupil: String,
    /// The group of misconceptions, such as `subtraction`.
    pub(crate) group: &'static str,
    /// One misconception, or two that the answers do not tell apart.
    pub(crate) named: Vec<&'static str>,
    /// Answers that were the first one's own.
    pub(crate) hits: u32,
    /// Answers where it shows.
    pub(crate) shown: u32,
    /// Right answers where it shows.
    pub(crate) contrary: u32,
    /// The odds against all else in the group, to 1.
    pub(crate) odds: u64,
    /// One sentence for the teacher.
    pub(crate) says: String,
    /// An idea for what to do next, for each name.
    pub(crate) next: Vec<String>,
}

/// A question whose answer would tell much.
#[derive(Debug, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct NextQuestion {
    /// The question's id.
    pub(crate) question: String,
    /// What is practised.
    pub(crate) title: String,
    /// The story.
    pub(crate) stem: String,
    /// What is asked, step by step.
    pub(crate) prompts: Vec<String>,
    /// Misconceptions that would show in its answers, those in question most first; five at most.
    pub(crate) shows: Vec<&'static str>,
}

/// Pupils whose answers are consistent with the same.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Need {
    /// One misconception, or two that the answers do not tell apart.
    pub(crate) named: Vec<&'static str>,
    /// The pupils, each with the answers that were its own and all answers where it shows.
    pub(crate) pupils: Vec<(String, u32, u32)>,
    /// Ids of questions of the pool that show it, the most telling one first.
    pub(crate) practice: Vec<String>,
}

/// One pupil, as far as the marks tell.
#[derive(Default)]
struct Seen<'p> {
    beliefs: Beliefs,
    answered: BTreeSet<&'p str>,
}

/// The mark without the verdicts of wrong answers for which a teacher gave all points. Later steps still build on them.
fn without_accepted(mark: &Mark) -> Cow<'_, Mark> {
    let accepted =
        |step: &StepMark| step.verdict == Verdict::Wrong && step.max > 0 && step.points == step.max;
    if !mark.steps.iter().any(accepted) {
        return Cow::Borrowed(mark);
    }
    let mut mark = mark.clone();
    for step in mark.steps.iter_mut().filter(|step| accepted(step)) {
        step.verdict = Verdict::Blank;
        step.misconceptions.clear();
    }
    Cow::Owned(mark)
}

/// Beliefs about all pupils met so far.
pub(crate) struct Judgement<'p> {
    items: BTreeMap<&'p str, &'p Item>,
    pupils: BTreeMap<String, Seen<'p>>,
}

impl<'p> Judgement<'p> {
    /// Nothing seen yet.
    pub(crate) fn of(pool: &'p Pool) -> Self {
        Self { items: pool.items().map(|item| (item.id.as_str(), item)).collect(), pupils: BTreeMap::new() }
    }

    /// Takes one mark; later ones are newer. Marks of questions that the pool does not have say nothing.
    pub(crate) fn see(&mut self, mark: &Mark) {
        if let Some((id, item)) = self.items.get_key_value(mark.question.as_str()) {
            let seen = self.pupils.entry(mark.pupil.clone()).or_default();
            seen.beliefs.see(&Evidence::of(item, &without_accepted(mark)));
            seen.answered.insert(id);
        }
    }

    /// The pupils met so far.
    pub(crate) fn pupils(&self) -> impl Iterator<Item = &str> {
        self.pupils.keys().map(String::as_str)
    }

    /// What may be said, by pupil.
    pub(crate) fn diagnoses(&self) -> Vec<PupilDiagnosis> {
        let each = |(pupil, seen): (&String, &Seen<'_>)| {
            let pupil = pupil.clone();
            seen.beliefs.diagnoses().into_iter().filter_map(move |diagnosis| {
                Some(PupilDiagnosis {
                    pupil: pupil.clone(),
                    group: diagnosis.group.name(),
                    says: diagnosis.teacher()?,
                    next: diagnosis.next(),
                    named: diagnosis.named,
                    hits: diagnosis.hits,
                    shown: diagnosis.evidence_steps,
                    contrary: diagnosis.contrary,
                    odds: diagnosis.odds,
                })
            })
        };
        self.pupils.iter().flat_map(each).collect()
    }

    /// The questions of the pool whose answers would tell most about this pupil; only such as the pupil has not answered
    /// yet. Of a pupil not met so far nothing is believed.
    pub(crate) fn next_for(&self, pupil: &str, count: usize) -> Vec<NextQuestion> {
        let unmet = Seen::default();
        let seen = self.pupils.get(pupil).unwrap_or(&unmet);
        let left = self.items.iter().filter(|(id, _)| !seen.answered.contains(*id));
        self.chosen(&[&seen.beliefs], left.map(|(_, item)| *item), count)
    }

    /// The questions whose answers would tell most about the class: such as nobody has answered, and where these are
    /// fewer than `count`, those that the fewest have.
    pub(crate) fn next_for_class(&self, count: usize) -> Vec<NextQuestion> {
        let answers = |id: &str| self.pupils.values().filter(|seen| seen.answered.contains(id)).count();
        let mut by_answers: Vec<(usize, &Item)> =
            self.items.iter().map(|(id, item)| (answers(id), *item)).collect();
        by_answers.sort_by_key(|(answers, _)| *answers);
        let most = by_answers.get(count.saturating_sub(1)).or(by_answers.last()).map_or(0, |(most, _)| *most);
        let left = by_answers.iter().filter(|(answers, _)| *answers <= most).map(|(_, item)| *item);
        let beliefs: Vec<&Beliefs> = self.pupils.values().map(|seen| &seen.beliefs).collect();
        self.chosen(&beliefs, left, count)
    }

    /// Pupils by what their answers are consistent with, the largest group first, each with `count` questions to practise:
    /// such as nobody of the group has answered, or the fewest have, and none of those to be kept back. Only pupils that
    /// `counts` lets in.
    pub(crate) fn needs(
        &self,
        counts: impl Fn(&str) -> bool,
        kept_back: &BTreeSet<String>,
        count: usize,
    ) -> Vec<Need> {
        let mut by_name: BTreeMap<Vec<&'static str>, Vec<(String, u32, u32)>> = BTreeMap::new();
        for (pupil, seen) in self.pupils.iter().filter(|(pupil, _)| counts(pupil)) {
            for diagnosis in seen.beliefs.diagnoses() {
                if !diagnosis.named.is_empty() {
                    // Two names are the same two whichever of them is the likelier.
                    let mut named = diagnosis.named;
                    named.sort_unstable();
                    by_name.entry(named).or_default().push((
                        pupil.clone(),
                        diagnosis.hits,
                        diagnosis.evidence_steps,
                    ));
                }
            }
        }
        let probes: Vec<Probe> = if by_name.is_empty() {
            Vec::new()
        } else {
            let free = self.items.iter().filter(|(id, _)| !kept_back.contains(**id));
            free.map(|(_, item)| Probe::of(item)).collect()
        };
        let need = |(named, pupils): (Vec<&'static str>, Vec<(String, u32, u32)>)| {
            let practice = self.practice(&named, &pupils, &probes, count);
            Need { named, pupils, practice }
        };
        let mut needs: Vec<Need> = by_name.into_iter().map(need).collect();
        needs.sort_by_key(|need| std::cmp::Reverse(need.pupils.len()));
        needs
    }

    /// Of the questions that show what is named, those that tell most about these pupils.
    fn practice(
        &self,
        named: &[&'static str],
        pupils: &[(String, u32, u32)],
        probes: &[Probe],
        count: usize,
    ) -> Vec<String> {
        let seen: Vec<&Seen<'_>> = pupils.iter().filter_map(|(pupil, ..)| self.pupils.get(pupil)).collect();
        let beliefs: Vec<&Beliefs> = seen.iter().map(|seen| &seen.beliefs).collect();
        let shows = |probe: &&Probe| probe.shows(&beliefs).iter().any(|shown| named.contains(shown));
        let answers = |probe: &Probe| seen.iter().filter(|seen| seen.answered.contains(&*probe.item)).count();
        let mut by_answers: Vec<(usize, &Probe)> =
            probes.iter().filter(shows).map(|probe| (answers(probe), probe)).collect();
        by_answers.sort_by_key(|(answers, _)| *answers);
        let most = by_answers.get(count.saturating_sub(1)).or(by_answers.last()).map_or(0, |(most, _)| *most);
        let left: Vec<Probe> = by_answers
            .iter()
            .filter(|(answers, _)| *answers <= most)
            .map(|(_, probe)| Probe::clone(probe))
            .collect();
        choose_next(&beliefs, &left, count).into_iter().map(|probe| probe.item.clone()).collect()
    }

    fn chosen<'i>(
        &self,
        beliefs: &[&Beliefs],
        left: impl Iterator<Item = &'i Item>,
        count: usize,
    ) -> Vec<NextQuestion> {
        let probes: Vec<Probe> = left.map(Probe::of).collect();
        let chosen = choose_next(beliefs, &probes, count).into_iter();
        let question = |probe: &Probe| {
            let item = self.items[probe.item.as_str()];
            NextQuestion {
                question: item.id.to_string(),
                title: item.title.to_string(),
                stem: item.stem.clone(),
                prompts: item.steps.iter().map(|step| step.prompt.to_string()).collect(),
                shows: probe.shows(beliefs).into_iter().take(SHOWN).collect(),
            }
        };
        chosen.map(question).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use qbank::{bank, marking::mark, plan::Plan};

    const PLAN: &str = r#"
pool = "sums"
title = "Sums"
seed = "sums-1"
locale = "en-US"

[[section]]
title = "Adding"
family = "add-ragged"
count = 6
pick = 6

[[section]]
title = "Rounding"
family = "round-tenths"
count = 6
pick = 6
"#;

    fn pool() -> Pool {
        let families = ["add-ragged", "round-tenths"].map(|name| bank::family(name).unwrap());
        Plan::from_toml(PLAN).unwrap().make(&families, None).unwrap()
    }

    #[test]
    fn a_pupil_is_asked_what_was_not_answered_yet_and_the_class_what_the_fewest_have() {
        let pool = pool();
        let mut judgement = Judgement::of(&pool);
        let items: Vec<&Item> = pool.items().collect();
        for item in &items[..11] {
            judgement.see(&mark(item, "p-07", &item.right_responses()));
        }
        let left: Vec<String> = judgement.next_for("p-07", 3).into_iter().map(|next| next.question).collect();
        assert_eq!(left, [items[11].id.clone()]);
        assert_eq!(judgement.next_for("p-08", 3).len(), 3, "nothing is known of p-08");
        let class = judgement.next_for_class(1);
        assert_eq!(class[0].question, items[11].id);
        assert_eq!(judgement.next_for_class(20).len(), 12);
    }

    #[test]
    fn a_hit_is_followed_up() {
        let pool = pool();
        let mut judgement = Judgement::of(&pool);
        let item = pool.items().find(|item| item.family == "add-ragged").unwrap();
        let wrong =
            item.steps[0].predicted.iter().find(|wrong| wrong.misconception == "add-right-edge").unwrap();
        let answers = [(item.steps[0].id.to_string(), wrong.answer.to_string())].into();
        judgement.see(&mark(item, "p-07", &answers));
        let next = &judgement.next_for("p-07", 1)[0];
        assert!(next.question.starts_with("add-ragged"), "{next:?}");
        assert_eq!(next.shows[0], "add-right-edge");
    }

    #[test]
    fn an_answer_that_a_teacher_gave_all_points_for_counts_neither_way() {
        let pool = pool();
        let sums: Vec<&Item> = pool.items().filter(|item| item.family == "add-ragged").collect();
        let slip = |item: &Item| {
            let step = &item.steps[0];
            let wrong = step.predicted.iter().find(|wrong| wrong.misconception.contains("add-right-edge"));
            mark(item, "p-07", &[(step.id.to_string(), wrong.unwrap().answer.to_string())].into())
        };
        let needs = |change: &dyn Fn(&mut StepMark)| {
            let mut judgement = Judgement::of(&pool);
            for item in &sums[..3] {
                let mut marked = slip(item);
                change(&mut marked.steps[0]);
                judgement.see(&marked);
            }
            (judgement.needs(|_| true, &BTreeSet::new(), 2).len(), judgement.diagnoses().len())
        };
        assert_eq!(needs(&|_| {}), (1, 1));
        assert_eq!(needs(&|step| step.points = step.max), (0, 0));
        // One of four was accepted.
        let mut judgement = Judgement::of(&pool);
        for (place, item) in sums[..4].iter().enumerate() {
            let mut marked = slip(item);
            if place == 0 {
                marked.steps[0].points = marked.steps[0].max;
            }
            judgement.see(&marked);
        }
        let needs = judgement.needs(|_| true, &BTreeSet::new(), 2);
        assert_eq!(needs[0].pupils, [("p-07".to_owned(), 3, 3)], "three answers show it, not four");
        // An accepted question is answered all the same: it is not asked again as a new one.
        let asked: Vec<String> =
            judgement.next_for("p-07", 20).into_iter().map(|next| next.question).collect();
        assert!(!asked.iter().any(|asked| *asked == sums[0].id), "{asked:?}");
    }

    #[test]
    fn pupils_with_the_same_misunderstanding_are_a_group_with_questions_that_show_it() {
        let pool = pool();
        let mut judgement = Judgement::of(&pool);
        let sums: Vec<&Item> = pool.items().filter(|item| item.family == "add-ragged").collect();
        for pupil in ["p-07", "p-08", "guest"] {
            for item in &sums[..3] {
                let step = &item.steps[0];
                let wrong =
                    step.predicted.iter().find(|wrong| wrong.misconception.contains("add-right-edge"));
                let answers = [(step.id.to_string(), wrong.unwrap().answer.to_string())].into();
                judgement.see(&mark(item, pupil, &answers));
            }
        }
        judgement.see(&mark(sums[0], "p-09", &sums[0].right_responses()));
        let kept_back = [sums[3].id.to_string()].into();
        let needs = judgement.needs(|pupil| pupil != "guest", &kept_back, 2);
        assert_eq!(needs.len(), 1, "{needs:?}");
        assert!(needs[0].named.contains(&"add-right-edge"), "{needs:?}");
        assert_eq!(needs[0].pupils, [("p-07".to_owned(), 3, 3), ("p-08".to_owned(), 3, 3)]);
        let practice: BTreeSet<&str> = needs[0].practice.iter().map(String::as_str).collect();
        assert_eq!(
            practice,
            [sums[4].id.as_str(), &sums[5].id].into(),
            "new ones, but not the one kept back"
        );
    }
}
