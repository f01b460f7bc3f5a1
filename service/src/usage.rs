//! Who uses what, and what items tell, over all schools, so that no figure about fewer than ten pupils is told or can be
//! computed from what is told.
//!
//! A **cell** is the pupils of one course at one step of one family. A cell of fewer than [`LEAST`] pupils is left out
//! before anything is summed, so every figure, of a course, of a family or of all together, is made of whole cells of ten
//! pupils or more, and so is every sum or difference of such figures: what is left out is in none of them. That does what
//! is called complementary suppression without choosing further cells to hide. (Rule of ten and the word: Federal Committee
//! on Statistical Methodology, Statistical Policy Working Paper 22, and NCES 2011-603, from memory.) A pupil of two courses
//! counts once in each. What changes between two looks at different times is not hidden: whoever looks before and after one
//! pupil hands in learns of that pupil's points.
//!
//! Marks are read three times, a quiz at a time, and never held all at once: [`Cells`] finds who answered what, [`Sums`]
//! then counts courses and who can be compared with whom, [`Tallies`] at last the steps. What grows is, for each cell and
//! pupil, four bytes, and what `qbank::statistics` tells of itself.

use std::collections::{BTreeMap, BTreeSet};

use qbank::marking::{Mark, StepMark};
use qbank::statistics::{Census, Figure, LEAST, StepStatistics, Tally, family_of};

/// One attempt's marks, and the number of its course.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Answered<'m> {
    /// Which course; the numbers are the caller's.
    pub(crate) course: usize,
    /// The marks of a submitted attempt, all of one pupil.
    pub(crate) marks: &'m [Mark],
}

/// A step of a family.
pub(crate) type Step = (String, String);

/// The first reading: which pupils are in which cell.
#[derive(Debug, Default)]
pub(crate) struct Cells {
    pupils: BTreeMap<(usize, String), u32>,
    cells: BTreeMap<(usize, Step), BTreeSet<u32>>,
}

impl Cells {
    /// Takes an attempt in.
    pub(crate) fn add(&mut self, answered: Answered<'_>) {
        let Answered { course, marks } = answered;
        for mark in marks {
            let Some(family) = family_of(&mark.question) else { continue };
            let next = u32::try_from(self.pupils.len()).expect("memory ends long before 2^32 pupils");
            let pupil = *self.pupils.entry((course, mark.pupil.clone())).or_insert(next);
            for step in &mark.steps {
                let cell = (course, (family.to_owned(), step.id.clone()));
                self.cells.entry(cell).or_default().insert(pupil);
            }
        }
    }

    /// Leaves small cells out and goes on to the second reading.
    pub(crate) fn ended(self) -> Sums {
        let mut kept = Kept::default();
        let mut in_course: BTreeMap<usize, BTreeSet<u32>> = BTreeMap::new();
        for ((course, step), pupils) in self.cells {
            if pupils.len() as u64 >= LEAST {
                in_course.entry(course).or_default().extend(pupils);
                kept.steps.insert(step.clone());
                kept.cells.insert((course, step));
            } else {
                kept.left_out.insert(step);
            }
        }
        let used = |(course, pupils): (usize, BTreeSet<u32>)| {
            (course, CourseUse { pupils: pupils.len() as u64, ..CourseUse::default() })
        };
        Sums { kept, courses: in_course.into_iter().map(used).collect(), census: Census::new(None) }
    }
}

/// The cells that are told.
#[derive(Debug, Default)]
struct Kept {
    cells: BTreeSet<(usize, Step)>,
    steps: BTreeSet<Step>,
    /// Steps of which some cell is left out.
    left_out: BTreeSet<Step>,
}

impl Kept {
    /// What of a mark is in cells that are told; the pupil of one course is not taken for the same one in another.
    fn of(&self, course: usize, mark: &Mark) -> Option<Mark> {
        let family = family_of(&mark.question)?;
        let told = |step: &&StepMark| self.cells.contains(&(course, (family.to_owned(), step.id.clone())));
        let steps: Vec<StepMark> = mark.steps.iter().filter(told).cloned().collect();
        (!steps.is_empty()).then(|| Mark {
            pupil: format!("{course}/{}", mark.pupil),
            question: mark.question.clone(),
            points: steps.iter().map(|step| step.points).sum(),
            max: steps.iter().map(|step| step.max).sum(),
            steps,
        })
    }
}

/// What the told cells of a course come to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct CourseUse {
    /// Pupils in them.
    pub(crate) pupils: u64,
    /// Attempts with an answer in them.
    pub(crate) attempts: u64,
    /// Points earned there.
    points: u64,
    /// Points possible there.
    maximum: u64,
}

impl CourseUse {
    /// The mean facility: the share of all points that was earned.
    pub(crate) fn share(&self) -> Figure {
        Figure::ratio(i128::from(self.points), i128::from(self.maximum.max(1)))
    }

    /// The sum of several.
    pub(crate) fn sum<'u>(all: impl IntoIterator<Item = &'u Self>) -> Self {
        all.into_iter().fold(Self::default(), |sum, one| Self {
            pupils: sum.pupils + one.pupils,
            attempts: sum.attempts + one.attempts,
            points: sum.points + one.points,
            maximum: sum.maximum + one.maximum,
        })
    }
}

/// The second reading: sums of courses, and who can be compared with whom.
#[derive(Debug)]
pub(crate) struct Sums {
    kept: Kept,
    courses: BTreeMap<usize, CourseUse>,
    census: Census,
}

impl Sums {
    /// Takes the same attempt in once more.
    pub(crate) fn add(&mut self, answered: Answered<'_>) {
        let Answered { course, marks } = answered;
        let Some(used) = self.courses.get_mut(&course) else { return };
        let mut counts = false;
        for mark in marks.iter().filter_map(|mark| self.kept.of(course, mark)) {
            counts = true;
            used.points += u64::from(mark.points);
            used.maximum += u64::from(mark.max);
            self.census.add(&mark);
        }
        used.attempts += u64::from(counts);
    }

    /// Goes on to the third reading.
    pub(crate) fn ended(self) -> Tallies {
        Tallies { kept: self.kept, courses: self.courses, tally: Tally::new(self.census, None) }
    }
}

/// The third reading: steps.
#[derive(Debug)]
pub(crate) struct Tallies {
    kept: Kept,
    courses: BTreeMap<usize, CourseUse>,
    tally: Tally<'static>,
}

impl Tallies {
    /// Takes the same attempt in a last time.
    pub(crate) fn add(&mut self, answered: Answered<'_>) {
        let Answered { course, marks } = answered;
        marks.iter().filter_map(|mark| self.kept.of(course, mark)).for_each(|mark| self.tally.add(&mark));
    }

    /// What is told.
    pub(crate) fn ended(self) -> Usage {
        let statistics = self.tally.finish();
        // The largest group comes first, and what it says of a step is taken.
        let mut discriminations = BTreeMap::new();
        for told in statistics.alike.iter().flat_map(|group| &group.steps) {
            if let Some(figure) = told.item_rest.given() {
                discriminations.entry((told.of.clone(), told.step.clone())).or_insert_with(|| figure.clone());
            }
        }
        let untold = self.kept.left_out.difference(&self.kept.steps).cloned().collect();
        Usage { courses: self.courses, families: statistics.families, discriminations, untold }
    }
}

/// What is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Usage {
    /// Courses with a cell that is told.
    pub(crate) courses: BTreeMap<usize, CourseUse>,
    /// Steps of families, over all courses.
    pub(crate) families: Vec<StepStatistics>,
    /// How points in a step go together with the rest of the total, among the largest group of pupils whose questions are
    /// of the same families.
    discriminations: BTreeMap<Step, Figure>,
    /// Steps that somebody answered and no course in numbers that are told.
    pub(crate) untold: Vec<Step>,
}

impl Usage {
    /// Correlation of a step's points with the rest of the total; none where it is not defined or not told.
    pub(crate) fn discrimination(&self, step: &StepStatistics) -> Option<&Figure> {
        let family = step.family.clone()?;
        self.discriminations.get(&(family, step.step.clone()))
    }
}

#[cfg(test)]
mod tests {
    use qbank::marking::Verdict;

    use super::*;

    const FAMILIES: [&str; 3] = ["add-ragged", "story-samples", "round-decimal"];

    /// A row of numbers that look random (Knuth's MMIX generator, from memory).
    struct Numbers(u64);

    impl Numbers {
        fn below(&mut self, bound: u64) -> u64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 33) % bound
        }
    }

    /// What a pupil of a course answered, step by step: family, points, misconception.
    #[derive(Debug, Clone)]
    struct Attempt {
        course: usize,
        marks: Vec<Mark>,
    }

    fn mark(pupil: u64, family: &str, points: u32, misconception: bool) -> Mark {
        let step = StepMark {
            id: "total".into(),
            response: "1".into(),
            points,
            max: 1,
            verdict: if points == 1 { Verdict::Correct } else { Verdict::Wrong },
            misconceptions: if misconception { vec!["add-right-edge".into()] } else { vec![] },
            note: String::new(),
        };
        Mark {
            pupil: format!("p{pupil}"),
            question: format!("{family}-v1-0f3c52aa-{pupil}"),
            points,
            max: 1,
            steps: vec![step],
        }
    }

    /// Courses of 1 to 25 pupils; each answers each family or not, once or twice.
    fn district(numbers: &mut Numbers) -> Vec<Attempt> {
        let mut attempts = Vec::new();
        for course in 0..5 {
            for pupil in 0..1 + numbers.below(25) {
                for _ in 0..1 + numbers.below(2) {
                    let mut marks = Vec::new();
                    for family in FAMILIES {
                        if numbers.below(3) > 0 {
                            let points = u32::try_from(numbers.below(2)).unwrap();
                            marks.push(mark(pupil, family, points, points == 0 && numbers.below(2) == 0));
                        }
                    }
                    attempts.push(Attempt { course, marks });
                }
            }
        }
        attempts
    }

    fn told(attempts: &[Attempt]) -> Usage {
        let all = || attempts.iter().map(|one| Answered { course: one.course, marks: &one.marks });
        let mut cells = Cells::default();
        all().for_each(|answered| cells.add(answered));
        let mut sums = cells.ended();
        all().for_each(|answered| sums.add(answered));
        let mut tallies = sums.ended();
        all().for_each(|answered| tallies.add(answered));
        tallies.ended()
    }

    /// How many pupils of a course answered a family; counted apart from what is tested.
    fn in_cell(attempts: &[Attempt], course: usize, family: &str) -> usize {
        let of_course = attempts.iter().filter(|attempt| attempt.course == course);
        let marks = of_course.flat_map(|attempt| &attempt.marks);
        let pupils = marks.filter(|mark| mark.question.starts_with(family)).map(|mark| &mark.pupil);
        pupils.collect::<BTreeSet<_>>().len()
    }

    /// Nothing that is told depends on what the pupils of a small cell answered. So it cannot be computed, either.
    #[test]
    fn other_answers_in_small_cells_change_nothing_that_is_told() {
        let mut numbers = Numbers(7);
        let mut small = 0;
        for _ in 0..200 {
            let attempts = district(&mut numbers);
            let mut others = attempts.clone();
            for attempt in &mut others {
                for mark in &mut attempt.marks {
                    let family = family_of(&mark.question).unwrap();
                    if in_cell(&attempts, attempt.course, family) < 10 {
                        small += 1;
                        let points = 1 - mark.points;
                        let step = &mut mark.steps[0];
                        (step.points, step.verdict) = (points, Verdict::Blank);
                        step.misconceptions = vec!["add-two-whole-numbers".into()];
                        mark.points = points;
                    }
                }
            }
            assert_eq!(told(&attempts), told(&others));
        }
        assert!(small > 1000, "the test looked at {small} answers in small cells");
    }

    /// Every figure is of ten pupils or more, and so is what is left when one told figure is taken from another.
    #[test]
    fn figures_and_their_differences_are_of_whole_cells() {
        let mut numbers = Numbers(11);
        let mut differences = 0;
        for _ in 0..200 {
            let attempts = district(&mut numbers);
            let usage = told(&attempts);
            for (course, used) in &usage.courses {
                assert!(used.pupils >= 10, "course {course}: {used:?}");
            }
            for step in &usage.families {
                let family = step.family.as_deref().unwrap();
                let cells = (0..5).map(|course| in_cell(&attempts, course, family) as u64);
                let cells: Vec<u64> = cells.filter(|pupils| *pupils >= 10).collect();
                assert_eq!(step.pupils, cells.iter().sum::<u64>(), "{family} is the sum of its large cells");
                assert!(step.figures.given().is_some(), "{family}");
                for cell in &cells {
                    let rest = step.pupils - cell;
                    assert!(rest == 0 || rest >= 10, "{family} without one course: {rest} pupils");
                    differences += 1;
                }
            }
        }
        assert!(differences > 200, "{differences}");
    }

    #[test]
    fn a_step_that_is_answered_in_small_cells_only_is_named_without_a_figure() {
        let marks = |pupils: u64| {
            (0..pupils).map(|pupil| Attempt { course: 1, marks: vec![mark(pupil, "add-ragged", 1, false)] })
        };
        let nine: Vec<_> = marks(9).collect();
        let usage = told(&nine);
        assert!(usage.courses.is_empty() && usage.families.is_empty());
        assert_eq!(usage.untold, [("add-ragged".to_owned(), "total".to_owned())]);
        let ten: Vec<_> = marks(10).collect();
        let usage = told(&ten);
        assert_eq!((usage.courses[&1].pupils, usage.courses[&1].attempts), (10, 10));
        assert_eq!(usage.courses[&1].share(), Figure::ratio(1, 1));
        assert!(usage.untold.is_empty());
    }

    #[test]
    fn pupils_of_the_same_name_in_two_courses_are_two() {
        let pupils = (0..10).flat_map(|pupil| {
            [0, 1].map(|course| Attempt { course, marks: vec![mark(pupil, "add-ragged", 1, false)] })
        });
        let usage = told(&pupils.collect::<Vec<_>>());
        assert_eq!(usage.families[0].pupils, 20);
    }
}
