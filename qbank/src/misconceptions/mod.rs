//! Misunderstandings of decimal arithmetic as rules that predict a wrong answer.
//!
//! Each [`Misconception`] bends one thing in the schoolbook machine: how digits are lined up, what is carried, what
//! is exchanged, where the point goes, which way digits move, how sizes are compared, which digit decides a rounding.
//! [`predict`] evaluates an expression on the bent machine. Names and texts here are judgements about a child's work:
//! they say what answers are *consistent with*, never what a child is.
//!
//! A rule sees numbers, not the story around them: `35 / 100` may be centimetres, cents or a bare quotient. Rules on
//! units and on place value therefore meet rules on powers of ten in the same wrong answer; which of them is meant is
//! for the family to say, by listing it.
//!
//! Sources in short: Hiebert and Wearne 1985 (alignment, points); Brown and Burton 1978, VanLehn 1982 and 1990,
//! Young and O'Shea 1981 (subtraction procedures); Cox 1974 and Ashlock (carries); Sackur-Grisvard and Léonard 1985,
//! Resnick et al. 1989, Steinle and Stacey (comparison); Bell, Swan and Taylor 1981, Fischbein et al. 1985, Ekenstam
//! and Greger 1983 (beliefs about × and ÷). 'Common practice' marks what teachers see and no source here proves. Rows
//! marked (from memory) were not re-read.
mod addition;
mod comparison;
mod division;
mod fractions;
mod multiplication;
mod place_value;
mod powers_of_ten;
mod rounding;
mod spanish;
mod story;
mod subtraction;
mod units;

use alloc::vec::Vec;
use core::cmp::Ordering;

use smallvec::{SmallVec, smallvec};
use smol_str::SmolStr;

use crate::{
    arithmetic::{Arithmetic, ArithmeticError, ColumnNumber, Columns, Relation, Value, evaluate},
    columns::{self, Digits, Grid},
    decimal::{Decimal, MAX_DIGITS, digit_count, power_of_ten},
    expression::{Expression, Names, Operation},
    locale::Language,
};
use place_value::literal;

/// What joins the names of misconceptions that predict the same wrong answer.
pub const JOINT: &str = " | ";

/// One misunderstanding: its name, where it is described, its rule, and what to say about it.
#[derive(Debug)]
pub struct Misconception {
    /// Stable name in records and files, as `add-right-edge`.
    pub id: &'static str,
    /// Name for people.
    pub name: &'static str,
    /// Where it is described, and with what standing.
    pub source: &'static str,
    /// One kind sentence for the pupil, in English; [`Misconception::pupil`] has it in every language.
    pupil: &'static str,
    /// One sentence for the teacher; starts 'answers consistent with'.
    pub teacher: &'static str,
    /// One idea for what to do next.
    pub next: &'static str,
    /// The rule on digits.
    pub rule: Rule,
}

/// What a misconception's sentence for teachers begins with.
const CONSISTENT: &str = "answers consistent with ";

impl Misconception {
    /// What answers are consistent with, to follow 'answers consistent with' in a sentence for the teacher.
    ///
    /// # Example
    /// ```
    /// use qbank::{locale::Language, misconceptions};
    /// let carries = misconceptions::find("add-carry-dropped").expect("in the table");
    /// assert_eq!(carries.shown_as(Language::English), "dropping every carry");
    /// assert_eq!(carries.shown_as(Language::Spanish), "omitir todo lo que se lleva");
    /// ```
    #[must_use]
    pub fn shown_as(&self, language: Language) -> &'static str {
        let english = self.teacher.strip_prefix(CONSISTENT).unwrap_or(self.teacher).trim_end_matches('.');
        match language {
            Language::English => english,
            Language::Spanish => self.in_spanish().map_or(english, |(what, _)| what),
        }
    }

    /// One idea for what to do next.
    ///
    /// # Example
    /// ```
    /// use qbank::{locale::Language, misconceptions};
    /// let carries = misconceptions::find("add-carry-dropped").expect("in the table");
    /// assert!(carries.next_in(Language::Spanish).starts_with("Cambie diez centésimas"));
    /// ```
    #[must_use]
    pub fn next_in(&self, language: Language) -> &'static str {
        match language {
            Language::English => self.next,
            Language::Spanish => self.in_spanish().map_or(self.next, |(_, next)| next),
        }
    }

    fn in_spanish(&self) -> Option<(&'static str, &'static str)> {
        let listed = spanish::TEACHER.iter().find(|(id, ..)| *id == self.id);
        listed.map(|(_, what, next)| (*what, *next))
    }

    /// One kind sentence for the pupil.
    ///
    /// # Example
    /// ```
    /// use qbank::{locale::Language, misconceptions};
    /// let longer = misconceptions::find("compare-longer-is-larger").expect("in the table");
    /// assert!(longer.pupil(Language::English).starts_with("More digits do not make"));
    /// assert!(longer.pupil(Language::Spanish).starts_with("Tener más dígitos no hace"));
    /// ```
    #[must_use]
    pub fn pupil(&self, language: Language) -> &'static str {
        match language {
            Language::English => self.pupil,
            Language::Spanish => {
                let listed = spanish::PUPIL.iter().find(|(id, _)| *id == self.id);
                listed.map_or(self.pupil, |(_, sentence)| sentence)
            }
        }
    }
}

/// How a misconception bends the machine. A rule gives `None` where the misconception shows no difference of its own,
/// or where its procedure cannot be carried out.
#[derive(Clone, Copy, Debug)]
pub enum Rule {
    /// Bends one of the four operations.
    Operation(Operation, fn(&Decimal, &Decimal) -> Option<Decimal>),
    /// Works another exercise in the place of one with this operation. An exercise, not its result, so that a
    /// quotient that does not end can still be rounded.
    Exercise(Operation, fn(&Decimal, &Decimal) -> Option<Exercise>),
    /// Bends multiplying and dividing by 10, 100, 1000 …: the other number, and how many places its digits should
    /// move to the left (below zero: to the right).
    PowerOfTen(fn(&Decimal, i32) -> Option<Decimal>),
    /// Bends comparing, also inside `max`, `min`, `smallest_at_least` and orders.
    Compare(fn(&Decimal, &Decimal) -> Option<Relation>),
    /// Bends rounding to a number of places.
    Round(fn(&Decimal, u32) -> Option<Decimal>),
    /// Works another expression in the place of the whole one, which is shown with its values filled in.
    Instead(fn(&Expression) -> Option<Expression>),
    /// Cannot be told from the expression: the family states the mistaken expression beside the step.
    Stated,
}

/// An operation with its two numbers.
pub type Exercise = (Operation, Decimal, Decimal);

/// All misconceptions, by group.
pub fn all() -> impl Iterator<Item = &'static Misconception> {
    let groups = [
        addition::ALL,
        subtraction::ALL,
        multiplication::ALL,
        powers_of_ten::ALL,
        division::ALL,
        comparison::ALL,
        rounding::ALL,
        place_value::ALL,
        fractions::ALL,
        units::ALL,
        story::ALL,
    ];
    groups.into_iter().flatten()
}

/// The misconception of that name.
#[must_use]
pub fn find(id: &str) -> Option<&'static Misconception> {
    all().find(|misconception| misconception.id == id)
}

/// What someone who holds the misconception would answer; `None` where it makes no difference of its own or leads
/// to no answer.
///
/// # Example
/// ```
/// use qbank::{expression::Names, misconceptions};
/// let right_edge = misconceptions::find("add-right-edge").expect("in the table");
/// let wrong = misconceptions::predict(right_edge, &"4.6 + 0.75".parse()?, &Names::new());
/// assert_eq!(wrong.expect("it fires").to_string(), "1.21");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn predict(misconception: &Misconception, expression: &Expression, names: &Names) -> Option<Value> {
    let right = evaluate(&Columns, expression, names).ok();
    predict_beside(right.as_ref(), misconception, &expression.with_values(names))
}

/// The same for an expression that is shown with its values, where the right value is known.
fn predict_beside(right: Option<&Value>, misconception: &Misconception, shown: &Expression) -> Option<Value> {
    let bent = match (misconception.rule, one_operation(shown)) {
        // Most exercises are one operation. Where the rule makes nothing else of it, the right answer stands.
        (Rule::Operation(bent, rule), Some((operation, left, right))) => {
            (bent == operation).then(|| rule(left, right))?.map(Value::Number).map(normal)
        }
        // A numeral put in its place is a value, not a written form.
        (Rule::Instead(other), _) => evaluate(&Columns, &other(shown)?, &Names::new()).ok().map(normal),
        (Rule::Stated, _) => None,
        (rule, _) => evaluate(&Bent(rule), shown, &Names::new()).ok(),
    };
    bent.filter(|value| Some(value) != right)
}

/// The operation and its two numbers, where there is nothing else.
fn one_operation(shown: &Expression) -> Option<(Operation, &Decimal, &Decimal)> {
    match shown {
        Expression::Binary(operation, left, right) => Some((*operation, literal(left)?, literal(right)?)),
        _ => None,
    }
}

fn normal(value: Value) -> Value {
    match value {
        Value::Number(number) => Value::Number(number.normalized()),
        other => other,
    }
}

/// Names of misconceptions that lead to one wrong value, nearly always one or two.
pub type Misconceptions = SmallVec<[&'static str; 2]>;

/// One wrong value and all misconceptions that lead to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Predicted {
    /// The wrong value.
    pub value: Value,
    /// Names of the misconceptions, in table order.
    pub misconceptions: Misconceptions,
}

impl Predicted {
    /// The names as records write them.
    #[must_use]
    pub fn joined(&self) -> SmolStr {
        joined(&self.misconceptions)
    }
}

/// Names as records write them.
pub(crate) fn joined(names: &[&'static str]) -> SmolStr {
    match names {
        [name] => SmolStr::new_static(name),
        several => several.join(JOINT).into(),
    }
}

/// What each of the candidates predicts, equal values gathered, in order of first appearance.
#[must_use]
pub fn predict_all<'c>(
    candidates: impl IntoIterator<Item = &'c Misconception>,
    expression: &Expression,
    names: &Names,
) -> Vec<Predicted> {
    let right = evaluate(&Columns, expression, names).ok();
    predict_all_beside(right.as_ref(), candidates, expression, names)
}

/// The same, where the right value is known.
pub(crate) fn predict_all_beside<'c>(
    right: Option<&Value>,
    candidates: impl IntoIterator<Item = &'c Misconception>,
    expression: &Expression,
    names: &Names,
) -> Vec<Predicted> {
    let candidates = candidates.into_iter();
    let mut found: Vec<Predicted> = Vec::with_capacity(candidates.size_hint().0);
    // All of them look at the same numbers, whose names are looked up once.
    let shown = expression.with_values(names);
    for candidate in candidates {
        if let Some(value) = predict_beside(right, candidate, &shown) {
            gather(&mut found, value, candidate.id);
        }
    }
    found
}

/// Adds one prediction to those gathered so far.
pub(crate) fn gather(found: &mut Vec<Predicted>, value: Value, id: &'static str) {
    match found.iter_mut().find(|known| known.value == value) {
        Some(known) => known.misconceptions.push(id),
        None => found.push(Predicted { value, misconceptions: smallvec![id] }),
    }
}

/// The column machine with one rule in the place of the right one.
struct Bent(Rule);

impl Bent {
    /// The wrong result, if the rule bends this operation on these numbers.
    fn wrong(
        &self,
        operation: Operation,
        left: &ColumnNumber,
        right: &ColumnNumber,
    ) -> Result<Option<ColumnNumber>, ArithmeticError> {
        let numbers = || Ok::<_, ArithmeticError>((Columns.decimal(left)?, Columns.decimal(right)?));
        let result = match self.0 {
            Rule::Operation(bent, rule) if bent == operation => {
                let (left, right) = numbers()?;
                rule(&left, &right).map(ColumnNumber::from)
            }
            Rule::Exercise(bent, rule) if bent == operation => {
                let (left, right) = numbers()?;
                let other = rule(&left, &right);
                other
                    .map(|(operation, left, right)| Columns.apply(operation, &left.into(), &right.into()))
                    .transpose()?
            }
            Rule::PowerOfTen(rule) if matches!(operation, Operation::Multiply | Operation::Divide) => {
                let (left, right) = numbers()?;
                let move_of_digits = powers_of_ten::move_of_digits(operation, &left, &right);
                move_of_digits.and_then(|(number, shift)| rule(&number, shift)).map(ColumnNumber::from)
            }
            _ => None,
        };
        Ok(result)
    }
}

impl Arithmetic for Bent {
    type Number = ColumnNumber;

    fn number(&self, decimal: &Decimal) -> Result<Self::Number, ArithmeticError> {
        Columns.number(decimal)
    }

    fn apply(
        &self,
        operation: Operation,
        left: &Self::Number,
        right: &Self::Number,
    ) -> Result<Self::Number, ArithmeticError> {
        match self.wrong(operation, left, right)? {
            Some(wrong) => Ok(wrong),
            None => Columns.apply(operation, left, right),
        }
    }

    fn round(&self, number: &Self::Number, places: u32) -> Result<Self::Number, ArithmeticError> {
        if let Rule::Round(rule) = self.0
            && let Some(numeral) = numeral_to_round(number, places)
            && let Some(wrong) = rule(&numeral, places)
        {
            return Ok(wrong.into());
        }
        Columns.round(number, places)
    }

    fn whole(&self, number: &Self::Number) -> Result<Self::Number, ArithmeticError> {
        Columns.whole(number)
    }

    fn digit(&self, number: &Self::Number, place: u32) -> Result<Self::Number, ArithmeticError> {
        Columns.digit(number, place)
    }

    fn compare(&self, left: &Self::Number, right: &Self::Number) -> Result<Ordering, ArithmeticError> {
        if let Rule::Compare(rule) = self.0
            && let Some(wrong) = rule(&Columns.decimal(left)?, &Columns.decimal(right)?)
        {
            return Ok(match wrong {
                Relation::Less => Ordering::Less,
                Relation::Equal => Ordering::Equal,
                Relation::Greater => Ordering::Greater,
            });
        }
        Columns.compare(left, right)
    }

    fn decimal(&self, number: &Self::Number) -> Result<Decimal, ArithmeticError> {
        Columns.decimal(number)
    }
}

/// What a rule for rounding looks at. Of a quotient that does not end, whoever rounds it has worked out some digits: two more
/// than are kept, which is as far as any rule needs.
fn numeral_to_round(number: &ColumnNumber, places: u32) -> Option<Decimal> {
    match Columns.decimal(number) {
        Ok(whole) => Some(whole),
        Err(_) => columns::cut(&number.worked_out(), places + 2).ok(),
    }
}

/// Joins a whole part and a fraction part that were worked as two whole numbers; the fraction is padded to the
/// longer of the two written lengths.
fn two_parts(whole: u128, fraction: u128, width: u32) -> Option<Decimal> {
    let places = width.max(digit_count(fraction));
    let fits = (digit_count(whole) + places) as usize <= MAX_DIGITS;
    fits.then(|| with_point(whole * power_of_ten(places) + fraction, places))?
}

/// Writes every column's content in full, high to low, and the point where the grid has it.
fn written_in_full(grid: &Grid, columns: &Digits) -> Option<Decimal> {
    // No column comes to a hundred.
    let width = |content: u8| if content < 10 { 1 } else { 2 };
    let written: u32 = columns[..grid.columns].iter().copied().map(width).sum();
    if written as usize > MAX_DIGITS {
        return None;
    }
    let whole = columns[..grid.columns].iter().rev();
    let number =
        whole.fold(0, |sum, content| sum * if *content < 10 { 10 } else { 100 } + u128::from(*content));
    with_point(number, columns[..grid.places].iter().copied().map(width).sum())
}

/// A whole number with the point put before its last `places` digits.
fn with_point(number: u128, places: u32) -> Option<Decimal> {
    Decimal::new(i128::try_from(number).ok()?, places).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arithmetic::Fractions;
    use alloc::{collections::BTreeSet, string::ToString};
    use proptest::prelude::*;

    #[test]
    fn names_are_unique_and_texts_are_judgements_not_verdicts() {
        let ids: BTreeSet<&str> = all().map(|misconception| misconception.id).collect();
        assert_eq!(ids.len(), all().count());
        for misconception in all() {
            assert!(misconception.teacher.starts_with("answers consistent with "), "{}", misconception.id);
            for language in [Language::English, Language::Spanish] {
                assert!(misconception.pupil(language).ends_with(['.', '?']), "{}", misconception.id);
            }
            assert!(
                !misconception.source.is_empty() && !misconception.next.is_empty(),
                "{}",
                misconception.id
            );
        }
    }

    #[test]
    fn teachers_are_told_of_every_misconception_in_spanish() {
        let told: Vec<&str> = spanish::TEACHER.iter().map(|(id, ..)| *id).collect();
        for id in all().map(|known| known.id) {
            assert_eq!(told.iter().filter(|other| **other == id).count(), 1, "{id}");
        }
        assert_eq!(told.len(), all().count(), "of none that there is not");
        for (id, what, next) in spanish::TEACHER {
            assert!(!what.ends_with('.') && what.starts_with(char::is_lowercase), "{id}: {what}");
            assert!(next.ends_with(['.', '?', '…']), "{id}: {next}");
        }
    }

    #[test]
    fn every_misconception_has_its_sentence_in_spanish() {
        let known: Vec<&str> = all().map(|misconception| misconception.id).collect();
        let told: Vec<&str> = spanish::PUPIL.iter().map(|(id, _)| *id).collect();
        assert_eq!(told, known, "ids in the order of the groups");
        for (id, sentence) in spanish::PUPIL {
            let asked = |sign: char| sentence.chars().filter(|character| *character == sign).count();
            assert_eq!(asked('¿'), asked('?'), "{id}: {sentence}");
            assert_eq!(sentence.trim(), *sentence, "{id}");
        }
    }

    /// Checks a group's worked examples: misconception, exercise, predicted wrong answer (empty: does not fire).
    pub(super) fn check(examples: &[(&str, &str, &str)]) {
        for (id, exercise, wrong) in examples {
            let misconception = find(id).unwrap_or_else(|| panic!("no misconception {id}"));
            let predicted = predict(misconception, &exercise.parse().unwrap(), &Names::new());
            let predicted = predicted.map(|value| value.to_string()).unwrap_or_default();
            assert_eq!(predicted, wrong.to_string(), "{id} on {exercise}");
        }
    }

    #[test]
    fn gathers_those_that_collide() {
        let found = predict_all(subtraction::ALL, &"7.5 - 2.35".parse().unwrap(), &Names::new());
        let same = found.iter().find(|one| one.value.to_string() == "5.25").unwrap().misconceptions.clone();
        assert_eq!(
            same[..],
            [
                "subtract-smaller-from-larger",
                "subtract-exchange-without-trade",
                "subtract-zero-minus-copies",
                "subtract-copies-unfilled-places"
            ]
        );
    }

    #[test]
    fn every_rule_fires_on_some_exercise() {
        let exercises = [
            "4.6 + 0.75",
            "4.68 + 2.57",
            "12.5 + 3.41",
            "7.42 - 3.18",
            "9.04 - 3.28",
            "8.40 - 3.16",
            "5.86 - 2.04",
            "6.3 - 2.75",
            "5.02 - 2.98",
            "12.5 - 0.34",
            "1.2 * 0.3",
            "2.5 * 1.4",
            "0.03 * 0.2",
            "2.3 * 10",
            "6.4 * 100",
            "8.24 / 4",
            "7.2 / 0.36",
            "2 / 5",
            "6 / 0.5",
            "0.35 ? 0.8",
            "0.83 ? 0.4",
            "0.3 ? 0.4",
            "0.41 ? 0.29",
            "0.5 ? 0.50",
            "4.4502 ? 4.45",
            "2.15 ? 12.3",
            "round(4.68, 1)",
            "round(3.96, 1)",
            "round(2.449, 1)",
            "round(3.25, 1)",
            "9 / 100",
            "15 / 10",
            "6 + 4 / 100",
            "0.4",
            "1 / 4",
            "1.2 + 35 / 100",
            "1 + 30 / 60",
            "10 - 3 * 1.25",
        ];
        let exercises: Vec<Expression> = exercises.iter().map(|text| text.parse().unwrap()).collect();
        for misconception in all() {
            let fires = exercises.iter().any(|one| predict(misconception, one, &Names::new()).is_some());
            assert_eq!(fires, !matches!(misconception.rule, Rule::Stated), "{}", misconception.id);
        }
    }

    proptest! {
        #[test]
        fn one_operation_is_bent_as_the_whole_machine_is(a in 0_i128..100_000, b in 0_i128..10_000, p in 0_u32..5, q in 0_u32..5) {
            let number = |units, places| Decimal::new(units, places).unwrap();
            let names = Names::from([("a".into(), number(a, p)), ("b".into(), number(b, q))]);
            for text in ["a + b", "a - b", "b - a", "a * b", "a / b"] {
                let expression: Expression = text.parse().unwrap();
                let right = evaluate(&Columns, &expression, &names).ok();
                for misconception in all().filter(|known| matches!(known.rule, Rule::Operation(..))) {
                    let bent = evaluate(&Bent(misconception.rule), &expression, &names).ok();
                    let predicted = predict(misconception, &expression, &names);
                    prop_assert_eq!(predicted, bent.filter(|bent| Some(bent) != right.as_ref()), "{} {}", misconception.id, text);
                }
            }
        }
    }

    proptest! {
        // Long numbers make each case slow: every misconception works on every expression.
        #![proptest_config(ProptestConfig::with_cases(48))]

        #[test]
        fn never_predicts_the_right_answer(a in 0_i128..10_i128.pow(20), b in 0_i128..10_000, p in 0_u32..20, q in 0_u32..5) {
            let number = |units, places| Decimal::new(units, places).unwrap();
            let names = Names::from([
                ("long".into(), number(a, p)), ("a".into(), number(a % 100_000, p % 4)), ("b".into(), number(b, q)),
            ]);
            for text in [
                "a + b", "a - b", "a * b", "a / b", "a ? b", "round(a / b, 2)", "a + b / 100", "a * 100", "a / 1000",
                "a", "long * long", "long / b", "long - b", "b + long", "long * 1000", "long ? b", "round(long, 3)",
            ] {
                let expression: Expression = text.parse().unwrap();
                let right = evaluate(&Fractions, &expression, &names).ok();
                for predicted in predict_all(all(), &expression, &names) {
                    prop_assert_ne!(Some(&predicted.value), right.as_ref(), "{:?} on {} {:?}", predicted, text, names);
                }
            }
        }
    }
}
