//! The second reading of the marks: sums for every step, every group of pupils and every pupil.
use alloc::{
    collections::{BTreeMap, BTreeSet},
    string::{String, ToString},
    vec::Vec,
};
use core::cmp::Reverse;

use super::{
    ChoiceCount, ClassPattern, Discrimination, Distractor, Figure, GroupStatistics, LEAST, PairSums,
    PatternCount, PupilPatterns, Reason, Statistics, StepFigures, StepStatistics, Told, Ungrouped,
    VerdictCounts, alpha,
    census::{Census, Group, Numbered, Person},
    figures::Divisor,
    standard_error, variance, wilson,
};
use crate::{
    marking::{Mark, StepMark, Verdict},
    misconceptions::JOINT,
    pool::Pool,
    question::{Item, Prediction, Step, StepKind},
};

/// Sums the marks that a [`Census`] has seen.
#[derive(Debug)]
pub struct Tally<'p> {
    census: Census,
    items: BTreeMap<&'p str, &'p Item>,
    seen: BTreeSet<(u32, u32)>,
    repeated: u64,
    /// Ids of steps.
    steps: Numbered,
    /// Misconceptions that an answer is consistent with, joined.
    patterns: Numbered,
    questions: BTreeMap<(u32, u32), StepSums>,
    families: BTreeMap<(u32, u32), StepSums>,
    forms: Groups,
    alike: Groups,
    pupils: Vec<PupilSums>,
}

/// One step of a question or a family.
#[derive(Debug, Default)]
struct StepSums {
    answers: u64,
    points: u64,
    max: u64,
    verdicts: VerdictCounts,
    /// Wrong answers by the number of their pattern.
    wrong: BTreeMap<u32, u64>,
    /// By the place of the choice in the step.
    choices: BTreeMap<usize, u64>,
}

/// One pupil.
#[derive(Clone, Debug, Default)]
struct PupilSums {
    points: u64,
    max: u64,
    steps: u64,
    blank: u64,
    unreadable: u64,
    patterns: BTreeMap<u32, u64>,
}

/// What stands for a question where pupils are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Of {
    Family(u32),
    Question(u32),
}

/// Pupils grouped in one way.
#[derive(Debug)]
struct Groups {
    by: fn(&Person) -> u128,
    groups: BTreeMap<u128, Group>,
    /// Pupils in groups that are too small.
    small: u64,
    columns: BTreeMap<(u128, Of, u32), Column>,
}

/// One step within a group.
#[derive(Debug, Default)]
struct Column {
    /// Points in the step and the pupil's total.
    sums: PairSums,
    /// Whether some answer could get other than one point.
    graded: bool,
}

impl<'p> Tally<'p> {
    /// Begins the second reading. With the pool, answers and choices are told beside their counts.
    #[must_use]
    pub fn new(census: Census, pool: Option<&'p Pool>) -> Self {
        let items = pool.into_iter().flat_map(Pool::items).map(|item| (item.id.as_str(), item)).collect();
        Self {
            items,
            seen: BTreeSet::new(),
            repeated: 0,
            steps: Numbered::default(),
            patterns: Numbered::default(),
            questions: BTreeMap::new(),
            families: BTreeMap::new(),
            forms: Groups::of(&census, |person| person.questions),
            alike: Groups::of(&census, |person| person.families),
            pupils: alloc::vec![PupilSums::default(); census.people.len()],
            census: census.ended(),
        }
    }

    /// Counts a mark. Marks of pupils or questions that the census has not seen count nowhere.
    pub fn add(&mut self, mark: &Mark) {
        let known = (self.census.names.find(&mark.pupil), self.census.questions.find(&mark.question));
        let (Some(pupil), Some(question)) = known else { return };
        if !self.seen.insert((pupil, question)) {
            self.repeated += 1;
            return;
        }
        let item = self.items.get(mark.question.as_str()).copied();
        for step in &mark.steps {
            self.add_step(pupil, question, step, item);
        }
    }

    fn add_step(&mut self, pupil: u32, question: u32, mark: &StepMark, item: Option<&Item>) {
        let number = self.steps.number(&mark.id);
        let pattern =
            (!mark.misconceptions.is_empty()).then(|| self.patterns.number(&mark.misconceptions.join(JOINT)));
        let asked = item.and_then(|item| item.steps.iter().find(|step| step.id == mark.id));
        let family = self.census.asked[question as usize].family;
        self.questions.entry((question, number)).or_default().add(mark, pattern, asked);
        if let Some(family) = family {
            self.families.entry((family, number)).or_default().add(mark, pattern, None);
        }
        let person = &self.census.people[pupil as usize];
        self.forms.add(person, Of::Question(question), number, mark);
        self.alike.add(person, family.map_or(Of::Question(question), Of::Family), number, mark);
        self.pupils[pupil as usize].add(mark, pattern);
    }

    /// What the marks come to.
    #[must_use]
    pub fn finish(self) -> Statistics {
        let names = Names::of(&self);
        let pupils = self.pupils.len() as u64;
        let verdicts = self.questions.values().fold(VerdictCounts::default(), |mut all, sums| {
            all.add_all(&sums.verdicts);
            all
        });
        Statistics {
            pupils,
            marks: self.seen.len() as u64,
            repeated: self.repeated,
            verdicts: Told::or((pupils >= LEAST).then_some(verdicts), Reason::FewerThan10Pupils),
            questions: self.question_statistics(&names),
            families: self.family_statistics(&names),
            forms: self.forms.statistics(&names),
            alike: self.alike.statistics(&names),
            ungrouped: Ungrouped { forms: self.forms.small, alike: self.alike.small },
            class: Told::or((pupils >= LEAST).then(|| self.class(&names)), Reason::FewerThan10Pupils),
            by_pupil: self.by_pupil(&names),
        }
    }

    fn question_statistics(&self, names: &Names<'_>) -> Vec<StepStatistics> {
        let told = |((question, step), sums): (&(u32, u32), &StepSums)| {
            let id = names.questions[*question as usize];
            let step = names.steps[*step as usize];
            let asked = self.items.get(id).and_then(|item| item.steps.iter().find(|one| one.id == step));
            let family = self.census.asked[*question as usize].family;
            StepStatistics {
                question: Some(id.into()),
                family: family.map(|family| names.families[family as usize].into()),
                step: step.into(),
                // One answer a pupil: another one would be a repeated mark.
                pupils: sums.answers,
                answers: sums.answers,
                figures: sums.figures(sums.answers, names, asked),
            }
        };
        sorted(self.questions.iter().map(told))
    }

    fn family_statistics(&self, names: &Names<'_>) -> Vec<StepStatistics> {
        let told = |((family, step), sums): (&(u32, u32), &StepSums)| {
            let pupils = self.census.family_pupils[*family as usize];
            StepStatistics {
                question: None,
                family: Some(names.families[*family as usize].into()),
                step: names.steps[*step as usize].into(),
                pupils,
                answers: sums.answers,
                figures: sums.figures(pupils, names, None),
            }
        };
        sorted(self.families.iter().map(told))
    }

    fn class(&self, names: &Names<'_>) -> Vec<ClassPattern> {
        let mut counts = BTreeMap::<u32, (u64, u64)>::new();
        for (pattern, steps) in self.pupils.iter().flat_map(|pupil| &pupil.patterns) {
            let count = counts.entry(*pattern).or_default();
            count.0 += 1;
            count.1 += steps;
        }
        let told = counts.into_iter().map(|(pattern, (pupils, steps))| ClassPattern {
            misconception: names.patterns[pattern as usize].into(),
            pupils,
            steps,
        });
        let mut told: Vec<ClassPattern> = told.collect();
        told.sort_by(|a, b| {
            (b.pupils, b.steps, &a.misconception).cmp(&(a.pupils, a.steps, &b.misconception))
        });
        told
    }

    fn by_pupil(&self, names: &Names<'_>) -> Vec<PupilPatterns> {
        let told = self.census.names.sorted().map(|(name, number)| {
            let pupil = &self.pupils[number as usize];
            let patterns = most_first(&pupil.patterns, names);
            PupilPatterns {
                pupil: name.into(),
                points: pupil.points,
                max: pupil.max,
                steps: pupil.steps,
                blank: pupil.blank,
                unreadable: pupil.unreadable,
                consistent_with: patterns
                    .into_iter()
                    .map(|(misconception, steps)| PatternCount { misconception, steps })
                    .collect(),
            }
        });
        told.collect()
    }
}

/// The texts back from their numbers.
struct Names<'t> {
    questions: Vec<&'t str>,
    families: Vec<&'t str>,
    steps: Vec<&'t str>,
    patterns: Vec<&'t str>,
}

impl<'t> Names<'t> {
    fn of(tally: &'t Tally<'_>) -> Self {
        let listed = |numbered: &'t Numbered| {
            let mut texts = alloc::vec![""; numbered.len()];
            for (text, number) in numbered.sorted() {
                texts[number as usize] = text;
            }
            texts
        };
        Self {
            questions: listed(&tally.census.questions),
            families: listed(&tally.census.families),
            steps: listed(&tally.steps),
            patterns: listed(&tally.patterns),
        }
    }
}

fn sorted(told: impl Iterator<Item = StepStatistics>) -> Vec<StepStatistics> {
    let mut told: Vec<StepStatistics> = told.collect();
    // Stable, so that the steps of a question stay as they came.
    told.sort_by(|a, b| (&a.family, &a.question).cmp(&(&b.family, &b.question)));
    told
}

fn most_first(counts: &BTreeMap<u32, u64>, names: &Names<'_>) -> Vec<(String, u64)> {
    let named = counts.iter().map(|(pattern, count)| (names.patterns[*pattern as usize].to_string(), *count));
    let mut named: Vec<(String, u64)> = named.collect();
    named.sort_by(|a, b| (Reverse(a.1), &a.0).cmp(&(Reverse(b.1), &b.0)));
    named
}

impl StepSums {
    fn add(&mut self, mark: &StepMark, pattern: Option<u32>, asked: Option<&Step>) {
        self.answers += 1;
        self.points += u64::from(mark.points);
        self.max += u64::from(mark.max);
        self.verdicts.add(mark.verdict);
        if let Some(pattern) = pattern {
            *self.wrong.entry(pattern).or_default() += 1;
        }
        let response = mark.response.trim();
        let place = asked.filter(|step| step.kind == StepKind::Choice).and_then(|step| {
            step.choices.iter().position(|choice| choice.id == response || choice.text == response)
        });
        if let Some(place) = place {
            *self.choices.entry(place).or_default() += 1;
        }
    }

    fn figures(&self, pupils: u64, names: &Names<'_>, asked: Option<&Step>) -> Told<StepFigures> {
        let too_few = Told::Withheld { withheld: Reason::FewerThan10Pupils };
        if pupils < LEAST || self.max == 0 {
            return too_few;
        }
        let facility = Figure::ratio(self.points.into(), self.max.into());
        let Some(interval_95) = wilson(&facility, pupils) else { return too_few };
        let named: u64 = self.wrong.values().sum();
        Told::Given(StepFigures {
            facility,
            interval_95,
            verdicts: self.verdicts,
            distractors: self.distractors(names, asked),
            otherwise_wrong: self.verdicts.wrong.saturating_sub(named),
            choices: self.choices(asked),
        })
    }

    /// Wrong answers that were given; with the question at hand also those that were predicted in vain.
    fn distractors(&self, names: &Names<'_>, asked: Option<&Step>) -> Vec<Distractor> {
        let predicted = asked.map_or(&[][..], |step| &step.predicted);
        let answer = |misconception: &str| {
            let mut met = predicted.iter().filter(|one| one.misconception == misconception);
            // A mistake that the family states can lead to two answers; a mark does not tell which.
            met.next().filter(|_| met.next().is_none()).map(|one| one.answer.to_string())
        };
        let mut told: Vec<Distractor> = most_first(&self.wrong, names)
            .into_iter()
            .map(|(misconception, count)| Distractor { answer: answer(&misconception), misconception, count })
            .collect();
        for Prediction { misconception, .. } in predicted {
            if !told.iter().any(|known| known.misconception == *misconception) {
                let misconception = misconception.clone();
                told.push(Distractor {
                    answer: answer(&misconception),
                    misconception: misconception.into(),
                    count: 0,
                });
            }
        }
        told
    }

    fn choices(&self, asked: Option<&Step>) -> Vec<ChoiceCount> {
        let Some(step) = asked.filter(|step| step.kind == StepKind::Choice) else { return Vec::new() };
        let told = step.choices.iter().enumerate().map(|(place, choice)| ChoiceCount {
            choice: choice.id.clone().into(),
            text: choice.text.clone().into(),
            count: self.choices.get(&place).copied().unwrap_or_default(),
        });
        told.collect()
    }
}

impl PupilSums {
    fn add(&mut self, mark: &StepMark, pattern: Option<u32>) {
        self.points += u64::from(mark.points);
        self.max += u64::from(mark.max);
        self.steps += 1;
        self.blank += u64::from(mark.verdict == Verdict::Blank);
        self.unreadable += u64::from(mark.verdict == Verdict::Unreadable);
        if let Some(pattern) = pattern {
            *self.patterns.entry(pattern).or_default() += 1;
        }
    }
}

impl VerdictCounts {
    fn add(&mut self, verdict: Verdict) {
        *match verdict {
            Verdict::Correct => &mut self.correct,
            Verdict::FollowThrough => &mut self.follow_through,
            Verdict::RightValueWrongForm => &mut self.right_value_wrong_form,
            Verdict::Wrong => &mut self.wrong,
            Verdict::Unreadable => &mut self.unreadable,
            Verdict::Blank => &mut self.blank,
        } += 1;
    }

    fn add_all(&mut self, more: &Self) {
        self.correct += more.correct;
        self.follow_through += more.follow_through;
        self.right_value_wrong_form += more.right_value_wrong_form;
        self.wrong += more.wrong;
        self.unreadable += more.unreadable;
        self.blank += more.blank;
    }
}

impl Groups {
    fn of(census: &Census, by: fn(&Person) -> u128) -> Self {
        let (groups, small) = census.groups(by);
        Self { by, groups, small, columns: BTreeMap::new() }
    }

    fn add(&mut self, person: &Person, of: Of, step: u32, mark: &StepMark) {
        let group = (self.by)(person);
        if self.groups.contains_key(&group) {
            let column = self.columns.entry((group, of, step)).or_default();
            column.sums.add(mark.points.into(), person.total);
            column.graded |= mark.max != 1;
        }
    }

    fn statistics(&self, names: &Names<'_>) -> Vec<GroupStatistics> {
        let mut told: Vec<GroupStatistics> = self
            .groups
            .iter()
            .map(|(key, group)| {
                let columns =
                    self.columns.range((*key, Of::Family(0), 0)..=(*key, Of::Question(u32::MAX), u32::MAX));
                let columns: Vec<_> = columns.map(|((_, of, step), column)| (*of, *step, column)).collect();
                group_statistics(group, &columns, names)
            })
            .collect();
        let first = |group: &GroupStatistics| group.steps.first().map(|step| step.of.clone());
        told.sort_by_cached_key(|group| (Reverse(group.pupils), first(group)));
        told
    }
}

fn group_statistics(group: &Group, columns: &[(Of, u32, &Column)], names: &Names<'_>) -> GroupStatistics {
    let variance_by = |divisor| variance(group.pupils, group.total, group.squares, divisor);
    let total = variance_by(Divisor::Population);
    let of_steps = columns.iter().filter_map(|(.., column)| column.sums.variance(Divisor::Population));
    let alpha = match of_steps.reduce(|sum, next| sum.plus(&next)).zip(total) {
        _ if columns.iter().any(|(.., column)| column.sums.n != group.pupils) => {
            Err(Reason::SeveralOfAFamily)
        }
        _ if columns.len() < 2 => Err(Reason::OneStep),
        Some((steps, total)) => alpha(columns.len() as u64, &steps, &total).ok_or(Reason::AllAlike),
        None => Err(Reason::AllAlike),
    };
    let graded = columns.iter().any(|(.., column)| column.graded);
    let sample = variance_by(Divisor::Sample);
    let error = |alpha: &Figure| {
        let sample = sample.as_ref().ok_or(Reason::AllAlike)?;
        standard_error(sample, alpha).ok_or(Reason::AllAlike)
    };
    let mut steps: Vec<Discrimination> = columns.iter().map(|column| discrimination(column, names)).collect();
    steps.sort_by(|a, b| a.of.cmp(&b.of));
    GroupStatistics {
        pupils: group.pupils,
        mean: Figure::mean(group.total, group.pupils),
        deviation: sample.as_ref().and_then(Figure::root),
        kr20: Told::from_result(if graded { Err(Reason::NotRightOrWrong) } else { alpha.clone() }),
        standard_error: Told::from_result(alpha.as_ref().map_err(|reason| *reason).and_then(error)),
        alpha: Told::from_result(alpha),
        steps,
    }
}

fn discrimination((of, step, column): &(Of, u32, &Column), names: &Names<'_>) -> Discrimination {
    Discrimination {
        of: match *of {
            Of::Family(family) => names.families[family as usize].into(),
            Of::Question(question) => names.questions[question as usize].into(),
        },
        step: names.steps[*step as usize].into(),
        item_total: Told::or(column.sums.correlation(), Reason::AllAlike),
        item_rest: Told::or(column.sums.with_rest().correlation(), Reason::AllAlike),
    }
}
