//! The checker: from a family file to a [`Family`], or to everything at fault in it.
use alloc::{
    borrow::ToOwned,
    collections::{BTreeMap, BTreeSet},
    format,
    string::{String, ToString},
    sync::Arc,
    vec::Vec,
};
use core::ops::Range;

use smol_str::{SmolStr, ToSmolStr};
use toml::Spanned;

use super::{
    AllowedDigits, Choices, Condition, Family, FamilyErrors, FamilyFault, FamilyStep, Feature, GivenRange,
    Numbers, Relation, Space, Texts,
    digits::read_digits,
    drawing::DrawError,
    file::{FamilyFile, GivenFile, RequireFile, StepFile, TextFile, WordLists},
    texts::{SlotForm, slots},
};
use crate::{
    decimal::Decimal,
    expression::Expression,
    locale::{Language, Locale},
    misconceptions::{self, Misconception},
    question::{Item, MOST_POINTS, StepKind, is_plain_id},
    units,
};

/// Questions drawn before a family is believed, beyond the first.
const TRIAL_DRAWS: usize = 3;
/// Among how many positions the first question must be found: a family that hardly ever fits would draw for ever.
const TRIAL_POSITIONS: u64 = 500;
/// Most numbers that a range with a step may hold.
const MAX_STEPPED: u64 = 2_000;
/// The names of places, as `digits` uses them, and their distance from the point: below zero to the left.
const PLACES: [(&str, i32); 7] = [
    ("thousands", -3),
    ("hundreds", -2),
    ("tens", -1),
    ("ones", 0),
    ("tenths", 1),
    ("hundredths", 2),
    ("thousandths", 3),
];

fn not_void(drawn: &Result<Item, DrawError>) -> bool {
    !matches!(drawn, Err(DrawError::Void { .. }))
}

impl Family {
    /// Reads and checks a family file.
    ///
    /// # Errors
    /// [`FamilyErrors`]: everything at fault, with line and column.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, FamilyErrors> {
        let mut checker = Checker { text, faults: Vec::new(), names: BTreeSet::new() };
        let family = match toml::from_str::<FamilyFile>(text) {
            Ok(parsed) => Some(checker.family(file, &parsed)),
            Err(error) => {
                checker.fault(error.span().unwrap_or(0..0), error.message().to_owned());
                None
            }
        };
        match family.filter(|_| checker.faults.is_empty()) {
            Some(mut family) => {
                family.space = Space::of(&family);
                family.tried(file)
            }
            None => {
                checker.faults.sort_by_key(|fault| (fault.line, fault.column));
                Err(FamilyErrors { file: file.to_owned(), faults: checker.faults })
            }
        }
    }

    /// A family whose conditions nothing satisfies would fail in a lesson: draw a few questions now, and prove them as
    /// records that somebody hands in.
    fn tried(self, file: &str) -> Result<Self, FamilyErrors> {
        for locale in self.texts.keys() {
            let positions = u64::try_from(self.capacity()).unwrap_or(u64::MAX).min(TRIAL_POSITIONS);
            let mut drawn =
                (0..positions).map(|position| self.draw("trial", position, locale)).filter(not_void);
            let fault = match drawn.next() {
                None => Some(format!("none of the first {positions} positions satisfies its requirements")),
                Some(Err(error)) => Some(error.to_string()),
                Some(Ok(first)) => match drawn.take(TRIAL_DRAWS).collect::<Result<Vec<Item>, _>>() {
                    Err(error) => Some(error.to_string()),
                    Ok(more) => unproven(&first, &more).or_else(|| self.silent_step(&first, &more)),
                },
            };
            if let Some(fault) = fault {
                let message = format!("no good question can be drawn: {fault}");
                let faults = alloc::vec![FamilyFault { line: 0, column: 0, message }];
                return Err(FamilyErrors { file: file.to_owned(), faults });
            }
        }
        Ok(self)
    }

    /// A step that never predicts a wrong answer tells nothing about a pupil; the author must want it so.
    fn silent_step(&self, first: &Item, more: &[Item]) -> Option<String> {
        let predicts = |index: usize| {
            core::iter::once(first).chain(more).any(|item| !item.steps[index].predicted.is_empty())
        };
        let mut steps = self.steps.iter().enumerate();
        let (_, silent) = steps.find(|(index, step)| !step.control && !predicts(*index))?;
        Some(format!(
            "step '{}' predicts no wrong answer; list misconceptions that lead to one, or say control = true",
            silent.id
        ))
    }
}

/// What speaks against drawn items, proven again as records.
fn unproven(first: &Item, more: &[Item]) -> Option<String> {
    let again = |item: &Item| match item.question().clone().verify() {
        Err(error) => Some(error.to_string()),
        Ok(proven) => (proven != *item).then(|| format!("the record of {} proves something else", item.id)),
    };
    core::iter::once(first).chain(more).find_map(again)
}

/// Gathers faults while it turns a file into a family. Where something is at fault a stand-in is used, so that the
/// rest is checked, too; the family is thrown away at the end.
struct Checker<'t> {
    text: &'t str,
    faults: Vec<FamilyFault>,
    /// Givens and steps so far.
    names: BTreeSet<String>,
}

impl Checker<'_> {
    fn fault(&mut self, span: Range<usize>, message: String) {
        let before = self.text.get(..span.start).unwrap_or_default();
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
        self.faults.push(FamilyFault { line, column, message });
    }

    fn family(&mut self, file: &str, parsed: &FamilyFile) -> Family {
        let id = parsed.family.get_ref();
        if !is_plain_id(id) || id != file.trim_end_matches(".toml") {
            let message =
                format!("the family '{id}' must be named like its file, in letters, digits and hyphens");
            self.fault(parsed.family.span(), message);
        }
        if *parsed.version.get_ref() == 0 {
            self.fault(parsed.version.span(), "versions count from 1".into());
        }
        let misconceptions =
            parsed.misconceptions.iter().filter_map(|name| self.misconception(name)).collect();
        let mut givens: Vec<GivenRange> = Vec::with_capacity(parsed.given.len());
        for given in &parsed.given {
            let given = self.given(given, &givens);
            givens.push(given);
        }
        let steps: Vec<FamilyStep> = parsed.step.iter().filter_map(|step| self.step(step, &givens)).collect();
        if parsed.step.is_empty() {
            self.fault(parsed.family.span(), "a family needs at least one [[step]]".into());
        }
        let conditions = parsed.require.iter().flat_map(|require| self.conditions(require)).collect();
        let texts = parsed.text.iter();
        let texts = texts.map(|(locale, text)| {
            let lists = word_lists(&parsed.words, &text.words);
            (locale.get_ref().clone(), self.texts(locale, text, lists, &givens, &steps))
        });
        let texts = texts.collect();
        Family {
            id: id.into(),
            version: *parsed.version.get_ref(),
            standards: parsed.standards.iter().map(|code| self.standard(code).into()).collect(),
            texts,
            givens,
            conditions,
            steps,
            misconceptions,
            space: Space::default(),
        }
    }

    fn standard(&mut self, code: &Spanned<String>) -> String {
        let text = code.get_ref();
        let plain = |character: char| character.is_ascii_alphanumeric() || character == '.';
        if text.is_empty() || !text.chars().all(plain) {
            self.fault(code.span(), format!("'{text}' is no curriculum code like 5.NBT.B.7"));
        }
        text.clone()
    }

    fn misconception(&mut self, name: &Spanned<String>) -> Option<&'static Misconception> {
        let known = misconceptions::find(name.get_ref());
        if known.is_none() {
            self.fault(name.span(), format!("there is no misconception '{}'", name.get_ref()));
        }
        known
    }

    /// A new name for a given or a step.
    fn new_name(&mut self, name: &Spanned<String>) -> String {
        let text = name.get_ref();
        let plain = |character: char| {
            character.is_ascii_lowercase() || character.is_ascii_digit() || character == '_'
        };
        if !text.starts_with(|first: char| first.is_ascii_lowercase()) || !text.chars().all(plain) {
            self.fault(
                name.span(),
                format!("'{text}' is no name: lower-case letters, digits and _, a letter first"),
            );
        } else if !self.names.insert(text.clone()) {
            self.fault(name.span(), format!("the name '{text}' is used twice"));
        }
        text.clone()
    }

    fn unit(&mut self, unit: Option<&Spanned<String>>) -> Option<SmolStr> {
        let unit = unit?;
        if units::by_symbol(unit.get_ref()).is_none() {
            let known: Vec<&str> = units::UNITS.iter().map(|unit| unit.symbol).collect();
            self.fault(
                unit.span(),
                format!("'{}' is no unit; there are {}", unit.get_ref(), known.join(", ")),
            );
        }
        Some(unit.get_ref().into())
    }

    fn decimal(&mut self, text: &Spanned<String>) -> Decimal {
        text.get_ref().parse().unwrap_or_else(|error: crate::decimal::DecimalError| {
            self.fault(text.span(), error.to_string());
            Decimal::ZERO
        })
    }

    fn expression(&mut self, text: &Spanned<String>) -> Option<Expression> {
        match text.get_ref().parse::<Expression>() {
            Ok(expression) => {
                self.known_names(&expression, text.span());
                Some(expression)
            }
            Err(error) => {
                self.fault(text.span(), error.to_string());
                None
            }
        }
    }

    fn known_names(&mut self, expression: &Expression, span: Range<usize>) {
        for name in expression.names() {
            if !self.names.contains(name) {
                self.fault(span.clone(), format!("'{name}' is neither a given nor an earlier step"));
            }
        }
    }

    fn given(&mut self, given: &GivenFile, earlier: &[GivenRange]) -> GivenRange {
        let numbers = match (&given.from, &given.to, &given.values, &given.is, &given.mistaken) {
            (Some(from), Some(to), None, None, None) => self.range(given, from, to),
            (None, None, Some(values), None, None) => {
                if values.get_ref().is_empty() {
                    self.fault(values.span(), "values needs at least one number".into());
                }
                Numbers::List(values.get_ref().iter().map(|value| self.decimal(value)).collect())
            }
            (None, None, None, Some(is), None) => self.derived(is, given.places),
            (None, None, None, None, Some(of)) => self.mistaken(of, &given.by, earlier),
            _ => {
                self.fault(
                    given.name.span(),
                    "a given needs one of: 'from' and 'to'; 'values'; 'is'; 'mistaken' and 'by'".into(),
                );
                Numbers::List(Vec::new())
            }
        };
        self.check_belongings(given);
        GivenRange { name: self.new_name(&given.name).into(), unit: self.unit(given.unit.as_ref()), numbers }
    }

    /// Keys of a given that only go with others.
    fn check_belongings(&mut self, given: &GivenFile) {
        let ranges = given.from.is_some();
        let stray = [
            (given.step.as_ref().map(Spanned::span), ranges, "'step' goes with 'from' and 'to'"),
            (given.ends.as_ref().map(Spanned::span), ranges, "'ends' goes with 'from' and 'to'"),
            (given.digits.keys().next().map(Spanned::span), ranges, "'digits' goes with 'from' and 'to'"),
            (given.by.first().map(Spanned::span), given.mistaken.is_some(), "'by' goes with 'mistaken'"),
            (given.places.map(|_| given.name.span()), given.is.is_some(), "'places' goes with 'is'"),
        ];
        for (span, belongs, message) in stray {
            if let (Some(span), false) = (span, belongs) {
                self.fault(span, message.into());
            }
        }
    }

    fn derived(&mut self, is: &Spanned<String>, places: Option<u32>) -> Numbers {
        let expression = self.expression(is).unwrap_or(Expression::Literal(Decimal::ZERO));
        if matches!(expression, Expression::Comparison(..) | Expression::Order(..)) {
            self.fault(is.span(), "a given is a number, not a comparison or an order".into());
        }
        Numbers::Derived { expression, places }
    }

    fn mistaken(&mut self, of: &Spanned<String>, by: &[Spanned<String>], earlier: &[GivenRange]) -> Numbers {
        let expression = self.expression(of).unwrap_or(Expression::Literal(Decimal::ZERO));
        if by.len() < 2 {
            self.fault(
                of.span(),
                "'mistaken' needs 'by' with two or more misconceptions to draw from".into(),
            );
        }
        if earlier.iter().any(|given| matches!(given.numbers, Numbers::Mistaken { .. })) {
            self.fault(of.span(), "only one given of a family can be mistaken".into());
        }
        let by = by.iter().filter_map(|name| {
            let known = self.misconception(name)?;
            if matches!(known.rule, misconceptions::Rule::Stated) {
                self.fault(name.span(), format!("'{}' has no rule that could make the mistake", known.id));
            }
            Some(known)
        });
        Numbers::Mistaken { of: expression, by: by.collect() }
    }

    fn range(&mut self, given: &GivenFile, from: &Spanned<String>, to: &Spanned<String>) -> Numbers {
        let (first, last) = (self.decimal(from), self.decimal(to));
        if first.places() != last.places() {
            self.fault(to.span(), "'from' and 'to' must be written with the same number of places".into());
        }
        if first > last || first.is_negative() {
            self.fault(to.span(), "'to' must not be below 'from', and neither below zero".into());
        }
        let units = |number: &Decimal| u64::try_from(number.units()).unwrap_or(0);
        let (from, to) = (units(&first), units(&last).max(units(&first)));
        let mut digits = AllowedDigits::default();
        if given.ends.is_some() {
            digits = digits.only(0, 0x3FE);
        }
        for (place, allowed) in &given.digits {
            if let Some((column, allowed)) = self.allowed_digits(place, allowed, first.places()) {
                digits = digits.only(column, allowed);
            }
        }
        let numbers = Numbers::Range { from, to, places: first.places(), digits };
        if numbers.count() == 0 {
            self.fault(given.name.span(), "there is no number to draw".into());
        }
        match &given.step {
            Some(step) => self.stepped(step, &first, &last, numbers),
            None => numbers,
        }
    }

    /// A column from the last written place, and the digits that may stand there.
    fn allowed_digits(
        &mut self,
        place: &Spanned<String>,
        allowed: &Spanned<String>,
        places: u32,
    ) -> Option<(usize, u16)> {
        let column = PLACES
            .iter()
            .find(|(name, _)| name == place.get_ref())
            .map(|(_, from_point)| i32::try_from(places).unwrap_or(0) - from_point);
        let column = column.and_then(|column| usize::try_from(column).ok());
        let digits = read_digits(allowed.get_ref());
        if column.is_none() {
            let names: Vec<&str> = PLACES.iter().map(|(name, _)| *name).collect();
            let message =
                format!("'{}' is no place of this given; there are {}", place.get_ref(), names.join(", "));
            self.fault(place.span(), message);
        }
        if digits.is_none() {
            let message = format!("'{}' is no set of digits such as 0, 1-9 or 05", allowed.get_ref());
            self.fault(allowed.span(), message);
        }
        Some((column?, digits?))
    }

    fn stepped(
        &mut self,
        step: &Spanned<String>,
        first: &Decimal,
        last: &Decimal,
        range: Numbers,
    ) -> Numbers {
        let size = self.decimal(step).units_at(first.places()).and_then(|size| u64::try_from(size).ok());
        let Some(size) = size.filter(|size| *size > 0) else {
            self.fault(step.span(), "'step' must be above zero, with no more places than 'from'".into());
            return range;
        };
        let Numbers::Range { from, to, places, digits } = &range else { return range };
        if (to - from) / size >= MAX_STEPPED {
            let message =
                format!("from {first} to {last} there are more than {MAX_STEPPED} steps; take a larger step");
            self.fault(step.span(), message);
            return range;
        }
        let fits = |number: &u64| digits.below(number + 1) > digits.below(*number);
        let steps = (0..=(to - from) / size).map(|index| from + index * size).filter(fits);
        Numbers::List(steps.filter_map(|number| Decimal::new(number.into(), *places).ok()).collect())
    }

    fn conditions(&mut self, require: &Spanned<RequireFile>) -> Vec<Condition> {
        let parsed = require.get_ref();
        let features = [
            parsed.carries.map(|[least, most]| Feature::Carries(least..=most)),
            parsed.exchanges.map(|[least, most]| Feature::Exchanges(least..=most)),
            parsed.across_zero.map(Feature::AcrossZero),
        ];
        match (&parsed.relation, &parsed.any, &parsed.of) {
            (Some(relation), None, None) => {
                self.relation(relation).map(Condition::Relation).into_iter().collect()
            }
            (None, Some(any), None) if any.len() >= 2 => {
                let relations = any.iter().filter_map(|relation| self.relation(relation)).collect();
                alloc::vec![Condition::Any(relations)]
            }
            (None, None, Some(of)) if features.iter().any(Option::is_some) => {
                features.into_iter().flatten().filter_map(|feature| self.feature(of, feature)).collect()
            }
            _ => {
                let message = "a requirement is one of: a 'relation'; 'any' with two or more relations; 'of' with carries, exchanges or across_zero";
                self.fault(require.span(), message.into());
                Vec::new()
            }
        }
    }

    fn relation(&mut self, text: &Spanned<String>) -> Option<Relation> {
        match text.get_ref().parse::<Relation>() {
            Ok(relation) => {
                relation.sides().iter().for_each(|side| self.known_names(side, text.span()));
                Some(relation)
            }
            Err(error) => {
                self.fault(text.span(), error.to_string());
                None
            }
        }
    }

    fn feature(&mut self, of: &Spanned<String>, feature: Feature) -> Option<Condition> {
        let expression = self.expression(of)?;
        if !feature.suits(&expression) {
            self.fault(
                of.span(),
                "carries go with a sum, exchanges and across_zero with a difference".into(),
            );
        }
        Some(Condition::Feature { of: expression, feature })
    }

    fn step(&mut self, step: &StepFile, givens: &[GivenRange]) -> Option<FamilyStep> {
        let expression = self.expression(&step.expression);
        let id = self.new_name(&step.id);
        if !(1..=MOST_POINTS).contains(step.points.get_ref()) {
            self.fault(step.points.span(), format!("points must be from 1 to {MOST_POINTS}"));
        }
        if let Some((rule, fault)) =
            step.accept.as_ref().and_then(|rule| Some((rule, rule.get_ref().0.fault()?)))
        {
            self.fault(rule.span(), fault.into());
        }
        if let Some((form, fault)) = step.form.as_ref().and_then(|form| Some((form, form.get_ref().fault()?)))
        {
            self.fault(form.span(), fault.into());
        }
        let choices = self.choices(step, expression.as_ref(), givens);
        let mistakes = step.mistakes.iter().filter_map(|mistake| {
            Some((self.misconception(&mistake.misconception)?, self.expression(&mistake.expression)?))
        });
        let mistakes = mistakes.collect();
        let expression = expression?;
        Some(FamilyStep {
            id: id.into(),
            kind: *step.kind.get_ref(),
            text: expression.to_smolstr(),
            expression: Arc::new(expression),
            unit: self.unit(step.unit.as_ref()),
            accept: step.acceptance(),
            points: *step.points.get_ref(),
            choices,
            separates: step.separates,
            control: step.control,
            mistakes,
        })
    }

    fn choices(
        &mut self,
        step: &StepFile,
        expression: Option<&Expression>,
        givens: &[GivenRange],
    ) -> Choices {
        let compares = matches!(expression, Some(Expression::Comparison(..)));
        match (step.kind.get_ref(), &step.choices, expression) {
            (_, _, None) => Choices::None,
            (StepKind::Number | StepKind::Words, None, Some(value)) if is_a_number(value) => Choices::None,
            (StepKind::Choice, None, _) if compares => Choices::Relations,
            (StepKind::Choice, None, Some(Expression::Name(name))) if is_mistaken(givens, name) => {
                Choices::Mistakes(name.to_string())
            }
            (StepKind::Choice, Some(names), Some(value)) if is_a_number(value) && names.len() >= 2 => {
                for name in names {
                    if !self.names.contains(name.get_ref()) {
                        let message = format!("'{}' is neither a given nor an earlier step", name.get_ref());
                        self.fault(name.span(), message);
                    }
                }
                Choices::Values(names.iter().map(|name| name.get_ref().clone()).collect())
            }
            (StepKind::Order, None, Some(Expression::Order(_, values))) if values.iter().all(is_a_name) => {
                Choices::Values(values.iter().flat_map(Expression::names).map(ToOwned::to_owned).collect())
            }
            (kind, ..) => {
                let message = match kind {
                    StepKind::Number | StepKind::Words => "needs a value and has no choices",
                    StepKind::Choice => {
                        "needs a comparison 'a ? b', 'choices' with two or more givens or earlier steps, or a mistaken given"
                    }
                    StepKind::Order => {
                        "needs ascending(…) or descending(…) over givens and earlier steps, and no 'choices'"
                    }
                };
                self.fault(step.kind.span(), format!("a step of kind {} {message}", kind.name()));
                Choices::None
            }
        }
    }

    fn texts(
        &mut self,
        locale: &Spanned<String>,
        file: &TextFile,
        words: BTreeMap<String, Vec<String>>,
        givens: &[GivenRange],
        steps: &[FamilyStep],
    ) -> Texts {
        if Locale::by_tag(locale.get_ref()).is_none() {
            let tags: Vec<&str> = Locale::tags().collect();
            self.fault(
                locale.span(),
                format!("'{}' is no locale; there are {}", locale.get_ref(), tags.join(", ")),
            );
        }
        for step in steps.iter().filter(|step| !file.prompt.contains_key(step.id.as_str())) {
            self.fault(file.title.span(), format!("{}: step '{}' has no prompt", locale.get_ref(), step.id));
        }
        for (step, prompt) in &file.prompt {
            if !steps.iter().any(|known| known.id == *step) {
                self.fault(prompt.span(), format!("there is no step '{step}'"));
            }
        }
        let language = Language::of_locale(locale.get_ref());
        for text in file.stem.iter().chain(file.prompt.values()) {
            self.slots(text, givens, &words, language);
        }
        self.labels(file, givens);
        Texts {
            title: file.title.get_ref().into(),
            stems: file.stem.iter().map(|stem| stem.get_ref().clone()).collect(),
            prompts: file
                .prompt
                .iter()
                .map(|(step, prompt)| (step.into(), prompt.get_ref().into()))
                .collect(),
            choices: file.choice.iter().map(|(id, label)| (id.clone(), label.get_ref().into())).collect(),
            words,
        }
    }

    /// Choices that name a mistake need a label each, and there must be no other labels.
    fn labels(&mut self, file: &TextFile, givens: &[GivenRange]) {
        let mistakes: Vec<&str> = givens
            .iter()
            .filter_map(|given| match &given.numbers {
                Numbers::Mistaken { by, .. } => Some(by.iter().map(|misconception| misconception.id)),
                _ => None,
            })
            .flatten()
            .collect();
        for id in mistakes.iter().filter(|id| !file.choice.contains_key(**id)) {
            self.fault(file.title.span(), format!("the mistake '{id}' has no label under 'choice'"));
        }
        for (id, label) in file.choice.iter().filter(|(id, _)| !mistakes.contains(&id.as_str())) {
            self.fault(label.span(), format!("'{id}' is no mistake of a given"));
        }
    }

    fn slots(
        &mut self,
        text: &Spanned<String>,
        givens: &[GivenRange],
        words: &BTreeMap<String, Vec<String>>,
        language: Option<Language>,
    ) {
        let found = match slots(text.get_ref()) {
            Ok(found) => found,
            Err(message) => return self.fault(text.span(), message.into()),
        };
        for slot in found {
            let of_given = givens.iter().any(|given| given.name == slot.name);
            let list = words.get(slot.list());
            if !of_given && slot.needs_a_number() {
                self.fault(text.span(), format!("the slot '{}' needs a given", slot.name));
            } else if !of_given && list.is_none_or(|list| list.len() < slot.number()) {
                let message =
                    format!("the slot '{}' is neither a given nor a list of enough words", slot.name);
                self.fault(text.span(), message);
            }
            if slot.form == SlotForm::Article && language != Some(Language::English) {
                self.fault(text.span(), ":article is for English; write the article into the words".into());
            }
        }
    }
}

/// Words of the whole file with those of one language, which come first.
fn word_lists(shared: &WordLists, own: &WordLists) -> BTreeMap<String, Vec<String>> {
    let lists = shared.iter().chain(own);
    lists.map(|(name, list)| (name.clone(), list.get_ref().clone())).collect()
}

fn is_a_number(expression: &Expression) -> bool {
    !matches!(expression, Expression::Comparison(..) | Expression::Order(..))
}

fn is_a_name(expression: &Expression) -> bool {
    matches!(expression, Expression::Name(_))
}

fn is_mistaken(givens: &[GivenRange], name: &str) -> bool {
    givens.iter().any(|given| given.name == name && matches!(given.numbers, Numbers::Mistaken { .. }))
}
