//! The checker: from a family file to a [`Family`], or to everything at fault in it.
use alloc::{
    borrow::ToOwned,
    collections::{BTreeMap, BTreeSet},
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::ops::Range;

use toml::Spanned;

use super::{
    Choices, Condition, Family, FamilyErrors, FamilyFault, FamilyStep, Feature, GivenRange, Numbers, Space,
    Texts,
    drawing::{DrawError, slots},
    file::{Ends, FamilyFile, GivenFile, RequireFile, StepFile, TextFile},
};
use crate::{
    accept::{Precision, Rule},
    decimal::Decimal,
    expression::Expression,
    misconceptions::{self, Misconception},
    question::{Item, StepKind, is_plain_id},
    reading::Locale,
    units,
};

/// Questions drawn before a family is believed, beyond the first.
const TRIAL_DRAWS: usize = 3;
/// Among how many positions the first question must be found: a family that hardly ever fits would draw for ever.
const TRIAL_POSITIONS: u64 = 500;

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

    /// A family whose conditions nothing satisfies would fail in a lesson: draw a few questions now.
    fn tried(self, file: &str) -> Result<Self, FamilyErrors> {
        for locale in self.texts.keys() {
            let positions = u64::try_from(self.capacity()).unwrap_or(u64::MAX).min(TRIAL_POSITIONS);
            let mut drawn =
                (0..positions).map(|position| self.draw("trial", position, locale)).filter(not_void);
            let fault = match drawn.next() {
                None => Some(format!("none of the first {positions} positions satisfies its requirements")),
                Some(Err(error)) => Some(error.to_string()),
                Some(Ok(_)) => drawn.take(TRIAL_DRAWS).find_map(Result::err).map(|error| error.to_string()),
            };
            if let Some(fault) = fault {
                let message = format!("no question can be drawn: {fault}");
                let faults = alloc::vec![FamilyFault { line: 0, column: 0, message }];
                return Err(FamilyErrors { file: file.to_owned(), faults });
            }
        }
        Ok(self)
    }
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
        let givens: Vec<GivenRange> = parsed.given.iter().map(|given| self.given(given)).collect();
        let steps: Vec<FamilyStep> = parsed.step.iter().filter_map(|step| self.step(step, &givens)).collect();
        if parsed.step.is_empty() {
            self.fault(parsed.family.span(), "a family needs at least one [[step]]".into());
        }
        let conditions = parsed.require.iter().flat_map(|require| self.conditions(require)).collect();
        let texts = parsed.text.iter();
        let texts =
            texts.map(|(locale, text)| (locale.get_ref().clone(), self.texts(locale, text, &givens, &steps)));
        let texts = texts.collect();
        Family {
            id: id.clone(),
            version: *parsed.version.get_ref(),
            standards: parsed.standards.iter().map(|code| self.standard(code)).collect(),
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

    fn unit(&mut self, unit: Option<&Spanned<String>>) -> Option<String> {
        let unit = unit?;
        if units::by_symbol(unit.get_ref()).is_none() {
            let known: Vec<&str> = units::UNITS.iter().map(|unit| unit.symbol).collect();
            self.fault(
                unit.span(),
                format!("'{}' is no unit; there are {}", unit.get_ref(), known.join(", ")),
            );
        }
        Some(unit.get_ref().clone())
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

    fn given(&mut self, given: &GivenFile) -> GivenRange {
        let numbers = match (&given.from, &given.to, &given.values) {
            (Some(from), Some(to), None) => self.range(from, to, given.ends),
            (None, None, Some(values)) => {
                if values.get_ref().is_empty() {
                    self.fault(values.span(), "values needs at least one number".into());
                }
                Numbers::List(values.get_ref().iter().map(|value| self.decimal(value)).collect())
            }
            _ => {
                self.fault(given.name.span(), "a given needs either 'from' and 'to', or 'values'".into());
                Numbers::List(Vec::new())
            }
        };
        GivenRange { name: self.new_name(&given.name), unit: self.unit(given.unit.as_ref()), numbers }
    }

    fn range(&mut self, from: &Spanned<String>, to: &Spanned<String>, ends: Option<Ends>) -> Numbers {
        let (first, last) = (self.decimal(from), self.decimal(to));
        if first.places() != last.places() {
            self.fault(to.span(), "'from' and 'to' must be written with the same number of places".into());
        }
        if first > last || first.is_negative() {
            self.fault(to.span(), "'to' must not be below 'from', and neither below zero".into());
        }
        let units = |number: &Decimal| u64::try_from(number.units()).unwrap_or(0);
        let (from, to) = (units(&first), units(&last).max(units(&first)));
        let numbers =
            Numbers::Range { from, to, places: first.places(), ends_nonzero: ends == Some(Ends::Nonzero) };
        if numbers.count() == 0 {
            self.faults.push(FamilyFault {
                line: 0,
                column: 0,
                message: "a given has no number to draw".into(),
            });
        }
        numbers
    }

    fn conditions(&mut self, require: &Spanned<RequireFile>) -> Vec<Condition> {
        let parsed = require.get_ref();
        let features = [
            parsed.carries.map(|[least, most]| Feature::Carries(least..=most)),
            parsed.exchanges.map(|[least, most]| Feature::Exchanges(least..=most)),
            parsed.across_zero.map(Feature::AcrossZero),
        ];
        match (&parsed.relation, &parsed.of) {
            (Some(relation), None) => match relation.get_ref().parse() {
                Ok(parsed) => {
                    let condition = Condition::Relation(parsed);
                    condition.expressions().iter().for_each(|side| self.known_names(side, relation.span()));
                    alloc::vec![condition]
                }
                Err(error) => {
                    self.fault(relation.span(), error.to_string());
                    Vec::new()
                }
            },
            (None, Some(of)) if features.iter().any(Option::is_some) => {
                features.into_iter().flatten().filter_map(|feature| self.feature(of, feature)).collect()
            }
            _ => {
                let message =
                    "a requirement is either a 'relation', or 'of' with carries, exchanges or across_zero";
                self.fault(require.span(), message.into());
                Vec::new()
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
        if *step.points.get_ref() == 0 {
            self.fault(step.points.span(), "points must be 1 or more".into());
        }
        if let Some(rule) = &step.accept {
            self.rule(rule);
        }
        let choices = self.choices(step, expression.as_ref(), givens);
        let mistakes = step.mistakes.iter().filter_map(|mistake| {
            Some((self.misconception(&mistake.misconception)?, self.expression(&mistake.expression)?))
        });
        let mistakes = mistakes.collect();
        Some(FamilyStep {
            id,
            kind: *step.kind.get_ref(),
            expression: expression?,
            unit: self.unit(step.unit.as_ref()),
            accept: step.acceptance(),
            points: *step.points.get_ref(),
            choices,
            separates: step.separates,
            mistakes,
        })
    }

    fn rule(&mut self, rule: &Spanned<Rule>) {
        let fits = match rule.get_ref() {
            Rule::Exact | Rule::Rounded { to: Precision::Places(_) } => true,
            Rule::Absolute { tolerance } => !tolerance.is_negative(),
            Rule::Relative { percent } => !percent.is_negative(),
            Rule::Rounded { to: Precision::Figures(figures) } => *figures > 0,
        };
        if !fits {
            self.fault(
                rule.span(),
                "tolerance and percent must not be negative, figures must be 1 or more".into(),
            );
        }
    }

    fn choices(
        &mut self,
        step: &StepFile,
        expression: Option<&Expression>,
        givens: &[GivenRange],
    ) -> Choices {
        let compares = matches!(expression, Some(Expression::Comparison(..)));
        match (step.kind.get_ref(), &step.choices) {
            (StepKind::Number, None) if !compares => Choices::None,
            (StepKind::Number, _) => {
                self.fault(
                    step.kind.span(),
                    "a number step has no choices and no comparison; use kind = \"choice\"".into(),
                );
                Choices::None
            }
            (StepKind::Choice, None) if compares => Choices::Relations,
            (StepKind::Choice, Some(names)) if !compares && names.len() >= 2 => {
                for name in names {
                    if !givens.iter().any(|given| given.name == *name.get_ref()) {
                        self.fault(name.span(), format!("'{}' is no given", name.get_ref()));
                    }
                }
                Choices::Givens(names.iter().map(|name| name.get_ref().clone()).collect())
            }
            (StepKind::Choice, _) => {
                let message = "a choice needs a comparison 'a ? b', or 'choices' with two or more givens";
                self.fault(step.kind.span(), message.into());
                Choices::None
            }
            (kind, _) => {
                self.fault(
                    step.kind.span(),
                    format!("steps of kind {} are not known to this version", kind.name()),
                );
                Choices::None
            }
        }
    }

    fn texts(
        &mut self,
        locale: &Spanned<String>,
        file: &TextFile,
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
        for step in steps.iter().filter(|step| !file.prompt.contains_key(&step.id)) {
            self.fault(file.title.span(), format!("{}: step '{}' has no prompt", locale.get_ref(), step.id));
        }
        for (step, prompt) in &file.prompt {
            if !steps.iter().any(|known| known.id == *step) {
                self.fault(prompt.span(), format!("there is no step '{step}'"));
            }
        }
        let words: BTreeMap<String, Vec<String>> =
            file.words.iter().map(|(name, list)| (name.clone(), list.get_ref().clone())).collect();
        for text in file.stem.iter().chain(file.prompt.values()) {
            self.slots(text, givens, &words);
        }
        Texts {
            title: file.title.get_ref().clone(),
            stems: file.stem.iter().map(|stem| stem.get_ref().clone()).collect(),
            prompts: file
                .prompt
                .iter()
                .map(|(step, prompt)| (step.clone(), prompt.get_ref().clone()))
                .collect(),
            words,
        }
    }

    fn slots(
        &mut self,
        text: &Spanned<String>,
        givens: &[GivenRange],
        words: &BTreeMap<String, Vec<String>>,
    ) {
        let found = match slots(text.get_ref()) {
            Ok(found) => found,
            Err(message) => return self.fault(text.span(), message.into()),
        };
        for slot in found {
            let of_given = givens.iter().any(|given| given.name == slot.name);
            let list = words.get(slot.list());
            if !of_given && list.is_none_or(|list| list.len() < slot.number()) {
                let message =
                    format!("the slot {{{}}} is neither a given nor a list of enough words", slot.name);
                self.fault(text.span(), message);
            }
        }
    }
}
