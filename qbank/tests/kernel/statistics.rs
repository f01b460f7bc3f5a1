//! Item statistics against published worked examples. Where a source prints fewer digits than the test, the rest was
//! worked from its data with another program.
use std::collections::BTreeMap;

use qbank::{
    marking::{Mark, StepMark, Verdict},
    statistics::{
        Census, Divisor, Figure, PairSums, Reason, Statistics, Tally, Told, alpha, kr21, standard_error,
        upper_lower, variance, wilson,
    },
};

/// Marks of one pupil: a question for each digit, worth one point.
fn marks(pupil: &str, digits: impl Iterator<Item = u32>) -> Vec<Mark> {
    let mark = |(index, points)| {
        let verdict = if points > 0 { Verdict::Correct } else { Verdict::Wrong };
        let step = step("total", points, verdict, &[]);
        Mark { pupil: pupil.into(), question: format!("q{index:02}"), points, max: 1, steps: vec![step] }
    };
    (1..).zip(digits).map(mark).collect()
}

fn step(id: &str, points: u32, verdict: Verdict, misconceptions: &[&str]) -> StepMark {
    StepMark {
        id: id.into(),
        response: String::new(),
        points,
        max: 1,
        verdict,
        misconceptions: misconceptions.iter().map(ToString::to_string).collect(),
        note: String::new(),
    }
}

fn statistics(marks: &[Mark]) -> Statistics {
    let mut census = Census::new(None);
    marks.iter().for_each(|mark| census.add(mark));
    let mut tally = Tally::new(census, None);
    marks.iter().for_each(|mark| tally.add(mark));
    tally.finish()
}

fn digits(row: &str) -> impl Iterator<Item = u32> {
    row.chars().map(|digit| digit.to_digit(10).unwrap())
}

fn told(figure: &Told<Figure>) -> String {
    figure.given().map_or("undefined".into(), |figure| figure.written(4))
}

/// Facility, item-total and item-rest correlation of each step of the only form.
fn columns(statistics: &Statistics) -> [Vec<String>; 3] {
    let facility =
        |step: &qbank::statistics::StepStatistics| step.figures.given().unwrap().facility.written(3);
    let [form] = &statistics.forms[..] else { panic!("one form: {:?}", statistics.forms) };
    [
        statistics.questions.iter().map(facility).collect(),
        form.steps.iter().map(|step| told(&step.item_total)).collect(),
        form.steps.iter().map(|step| told(&step.item_rest)).collect(),
    ]
}

fn words(text: &str) -> Vec<String> {
    text.split_whitespace().map(String::from).collect()
}

/// A printed classroom worksheet on item analysis: ten students, best first, and ten items. It prints the facilities
/// and the differences between the upper and the lower five.
const WORKSHEET: [&str; 10] = [
    "1111111111",
    "1111111101",
    "1101111100",
    "0111110101",
    "1110111001",
    "1110110100",
    "0110110101",
    "0111001010",
    "1110100001",
    "0100010010",
];

#[test]
fn the_classroom_worksheet() {
    let all: Vec<Mark> =
        (0..).zip(WORKSHEET).flat_map(|(n, row)| marks(&format!("p-{n}"), digits(row))).collect();
    let found = statistics(&all);
    let [facility, total, rest] = columns(&found);
    assert_eq!(
        facility,
        words(".600 1.000 .800 .500 .800 .800 .500 .600 .300 .600")
            .iter()
            .map(|text| { if text.starts_with('.') { format!("0{text}") } else { text.clone() } })
            .collect::<Vec<_>>()
    );
    assert_eq!(total, words("0.5342 undefined 0.3926 0.5758 0.6543 0.3926 0.5758 0.6411 -0.1713 0.5342"));
    assert_eq!(rest, words("0.3122 undefined 0.1954 0.3586 0.5071 0.1954 0.3586 0.4480 -0.3852 0.3122"));
    let form = &found.forms[0];
    assert_eq!((form.pupils, form.mean.written(1)), (10, "6.5".into()));
    assert_eq!((told(&form.alpha), told(&form.kr20)), ("0.5297".into(), "0.5297".into()));
    assert_eq!(form.standard_error.given().unwrap().written(3), "1.381");

    let right = |rows: &[&str], item: usize| {
        u32::try_from(rows.iter().filter(|row| row.as_bytes()[item] == b'1').count()).unwrap()
    };
    let differences: Vec<String> = (0..10)
        .map(|item| upper_lower(right(&WORKSHEET[..5], item), right(&WORKSHEET[5..], item), 5).written(1))
        .collect();
    assert_eq!(differences, words("0.4 0.0 0.0 0.6 0.4 0.4 0.6 0.4 -0.2 0.4"));
}

#[test]
fn the_divisor_is_the_same_for_steps_and_total() {
    let totals: Vec<u128> = WORKSHEET.iter().map(|row| u128::from(digits(row).sum::<u32>())).collect();
    let (sum, squares) = (totals.iter().sum(), totals.iter().map(|total| total * total).sum());
    let of_total = |divisor| variance(10, sum, squares, divisor).unwrap();
    let of_steps = |divisor| {
        let ones = |item: usize| WORKSHEET.iter().filter(|row| row.as_bytes()[item] == b'1').count() as u128;
        let variances = (0..10).map(|item| variance(10, ones(item), ones(item), divisor).unwrap());
        variances.reduce(|all, next| all.plus(&next)).unwrap()
    };
    let (population, sample) = (of_total(Divisor::Population), of_total(Divisor::Sample));
    assert_eq!((population.written(2), sample.written(4)), ("3.65".into(), "4.0556".into()));
    let reliability = |steps: &Figure, total: &Figure| alpha(10, steps, total).unwrap().written(4);
    assert_eq!(reliability(&of_steps(Divisor::Population), &population), "0.5297");
    assert_eq!(reliability(&of_steps(Divisor::Sample), &sample), "0.5297");
    // The mixed convention of some textbooks, which is never used here.
    assert_eq!(reliability(&of_steps(Divisor::Population), &sample), "0.5878");
    assert_eq!(kr21(10, &Figure::ratio(65, 10), &population).unwrap().written(4), "0.4186");
}

/// Section 6 of a law school admission test, 1000 people and five items: how many people have each pattern, 00000,
/// 00001, … 11111. Data set `lsat6` of the R package psych 2.2.9; alpha and alpha without each item are printed in the
/// paper on the R package ltm.
const LSAT_6: [usize; 32] = [
    3, 6, 2, 11, 1, 1, 3, 4, 1, 8, 0, 16, 0, 3, 2, 15, 10, 29, 14, 81, 3, 28, 15, 80, 16, 56, 21, 173, 11,
    61, 28, 298,
];

/// The rows, without the item of that place if one is named.
fn lsat_marks(without: Option<usize>) -> Vec<Mark> {
    let patterns = (0_u32..).zip(LSAT_6).flat_map(|(pattern, count)| std::iter::repeat_n(pattern, count));
    let row = |(pupil, pattern): (usize, u32)| {
        let items = (0..5).filter(|item| Some(*item) != without).map(|item| pattern >> (4 - item) & 1);
        marks(&format!("p-{pupil}"), items.collect::<Vec<_>>().into_iter())
    };
    patterns.enumerate().flat_map(row).collect()
}

#[test]
fn the_law_school_admission_test() {
    let found = statistics(&lsat_marks(None));
    let [facility, total, rest] = columns(&found);
    assert_eq!(facility, words("0.924 0.709 0.553 0.763 0.870"));
    assert_eq!(total, words("0.3620 0.5668 0.6184 0.5344 0.4354"));
    assert_eq!(rest, words("0.1128 0.1532 0.1728 0.1444 0.1216"));
    assert_eq!(told(&found.forms[0].alpha), "0.2950");
    let mut scores = BTreeMap::<u64, u64>::new();
    for pupil in &found.by_pupil {
        *scores.entry(pupil.points).or_default() += 1;
    }
    assert_eq!(scores.into_values().collect::<Vec<_>>(), [3, 20, 85, 237, 357, 298]);
    let without: Vec<String> =
        (0..5).map(|item| told(&statistics(&lsat_marks(Some(item))).forms[0].alpha)).collect();
    assert_eq!(without, words("0.2754 0.2376 0.2168 0.2459 0.2663"));
}

/// The example in the documentation of SciPy's `pointbiserialr`.
#[test]
fn the_point_biserial_correlation() {
    let mut sums = PairSums::default();
    for (a, b) in [0, 0, 0, 1, 1, 1, 1].into_iter().zip(0..) {
        sums.add(a, b);
    }
    assert_eq!(sums.correlation().unwrap().written(16), "0.8660254037844386");
}

/// Bland and Altman, British Medical Journal 1997; and a published example that prints 0.85 for numbers which give
/// 0.206.
#[test]
fn alpha_from_variances() {
    let alpha = |steps, variances, total| {
        let hundredths = |number| Figure::ratio(number, 100);
        alpha(steps, &hundredths(variances), &hundredths(total)).unwrap().written(3)
    };
    assert_eq!(alpha(10, 1116, 7744), "0.951");
    assert_eq!(alpha(6, 4340, 5240), "0.206");
}

/// Published examples: KR-21 of 50 items with mean 43 and variance 25; standard errors of tests with deviation 12 and
/// reliability .91, deviation 5 and .8; 9 and 3 right in groups of 11.
#[test]
fn smaller_published_examples() {
    assert_eq!(kr21(50, &Figure::ratio(43, 1), &Figure::ratio(25, 1)).unwrap().written(6), "0.774694");
    let error = standard_error(&Figure::ratio(144, 1), &Figure::ratio(91, 100)).unwrap();
    assert_eq!(error.written(1), "3.6");
    let error = standard_error(&Figure::ratio(25, 1), &Figure::ratio(8, 10)).unwrap();
    assert_eq!(error.written(2), "2.24");
    assert_eq!(upper_lower(9, 3, 11).written(3), "0.545");
}

#[test]
fn wilson_intervals() {
    for (right, of, low, high) in [
        (15, 25, "0.41", "0.77"),
        (60, 100, "0.50", "0.69"),
        (120, 200, "0.53", "0.67"),
        (3, 5, "0.23", "0.88"),
    ] {
        let (from, to) = wilson(&Figure::ratio(right, of.into()), of).unwrap();
        assert_eq!((from.written(2), to.written(2)), (low.into(), high.into()), "{right} of {of}");
    }
    let (from, to) = wilson(&Figure::ratio(0, 1), 10).unwrap();
    assert_eq!((from.written(4), to.written(4)), ("0.0000".into(), "0.2775".into()));
    let (from, to) = wilson(&Figure::ratio(1, 1), 10).unwrap();
    assert_eq!((from.written(4), to.written(4)), ("0.7225".into(), "1.0000".into()));
}

#[test]
fn nothing_is_told_about_fewer_than_ten_pupils() {
    let nine: Vec<Mark> =
        (0..9).zip(WORKSHEET).flat_map(|(n, row)| marks(&format!("p-{n}"), digits(row))).collect();
    let found = statistics(&nine);
    let withheld = Reason::FewerThan10Pupils;
    assert!(found.questions.iter().all(|step| step.figures == Told::Withheld { withheld }));
    assert!(found.forms.is_empty() && found.alike.is_empty());
    assert_eq!((found.ungrouped.forms, found.ungrouped.alike), (9, 9));
    assert_eq!(found.verdicts, Told::Withheld { withheld });
    assert_eq!(found.class, Told::Withheld { withheld });
    assert_eq!(found.by_pupil.len(), 9);
}

#[test]
fn families_stand_for_questions_where_every_pupil_has_other_numbers() {
    // Family and seed as in drawn ids; every pupil has a position of their own.
    let mark = |pupil: usize, family: &str, points: u32| {
        let (verdict, named): (_, &[&str]) =
            if points > 0 { (Verdict::Correct, &[]) } else { (Verdict::Wrong, &["a", "b"]) };
        Mark {
            pupil: format!("p-{pupil:02}"),
            question: format!("{family}-v1-0123abcd-{pupil}"),
            points,
            max: 1,
            steps: vec![step("total", points, verdict, named)],
        }
    };
    let mut all = Vec::new();
    for (pupil, row) in WORKSHEET.iter().enumerate() {
        for (family, points) in ["add-one", "add-two", "add-three"].into_iter().zip(digits(&row[2..5])) {
            all.push(mark(pupil, family, points));
        }
    }
    // The first mark counts.
    all.push(mark(0, "add-one", 0));
    let found = statistics(&all);
    assert_eq!((found.marks, found.repeated, found.pupils), (30, 1, 10));
    assert!(found.questions.iter().all(|step| step.figures.given().is_none() && step.pupils == 1));
    assert!(found.forms.is_empty());
    let [alike] = &found.alike[..] else { panic!("{:?}", found.alike) };
    assert_eq!(
        alike.steps.iter().map(|step| step.of.as_str()).collect::<Vec<_>>(),
        ["add-one", "add-three", "add-two"]
    );
    let first = found.families[0].figures.given().unwrap();
    assert_eq!((first.facility.written(1), first.distractors[0].count), ("0.8".into(), 2));
    assert_eq!(first.distractors[0].misconception, "a | b");
    let class = found.class.given().unwrap();
    assert_eq!((class[0].misconception.as_str(), class[0].pupils, class[0].steps), ("a | b", 7, 9));
}
