//! From one step of a proven item to its share in the item of the standard: variables, body, rules, feedback.
use qbank::{
    accept::{Precision, Rule as Acceptance, Ties},
    decimal::Decimal,
    expression::Expression as Formula,
    locale::Language,
    question::{Choice, Item, Key, ProvenStep, Step, StepKind},
    units,
};

use smol_str::SmolStr;

use super::{
    ExportError,
    follow_through::{self, Expected, Known},
    from_item::{At, Mapping, StepNames, labelled, whole},
    in_words,
    judging::{Judging, Verdict},
    model::{
        BaseType, Block, ChoiceInteraction, Identifier, IdentifierError, Inline, InlineChoiceInteraction,
        OrderInteraction, OutcomeDeclaration, ResponseDeclaration, SimpleChoice, TextEntryInteraction,
    },
    numeral,
    processing::{Expression, Tolerance, Value},
    report::{LeftOut, Loss, Reason},
    wording::around_box,
};

/// Narrowest box for a number, in characters, so that its width tells nothing about the answer.
pub(super) const BOX_LENGTH: u32 = 8;
/// The same for a number in words.
const WORDS_LENGTH: u32 = 60;
/// Class of the part of the body that holds one step.
pub(super) const STEP_CLASS: &str = "step";

/// A step on its way into the item.
pub(super) struct StepMapping<'m, 'i> {
    /// The item it goes into.
    pub(super) mapping: &'m mut Mapping<'i>,
    pub(super) step: &'i Step,
    pub(super) proven: &'i ProvenStep,
    pub(super) names: StepNames,
    /// Which step of the question, from 0.
    pub(super) index: usize,
    pub(super) at: At<'i>,
}

impl StepMapping<'_, '_> {
    /// Adds everything of the step to the item.
    pub(super) fn add(mut self) -> Result<(), ExportError> {
        let label = self.mapping.words.step_label(self.index, self.mapping.source.steps.len());
        let label = label.as_deref();
        self.declare_outcomes();
        self.add_own_value()?;
        let expected = self.expected();
        let follows = expected.is_some();
        match &self.proven.key {
            Key::Number(key) if self.step.kind == StepKind::Words => self.add_words(*key, label)?,
            Key::Number(key) => self.add_number(*key, expected, label)?,
            Key::Choice(key) => self.add_choice(key, expected, label)?,
            Key::Order(key) => self.add_order(key, label)?,
        }
        self.add_rubric_and_solution(label, follows);
        Ok(())
    }

    fn declare_outcomes(&mut self) {
        let StepNames { score, feedback, .. } = &self.names;
        self.mapping.item.outcomes.extend([
            OutcomeDeclaration::score(score.clone(), Decimal::ZERO, Some(self.step.points)),
            OutcomeDeclaration::unset(feedback.clone(), BaseType::Identifier),
        ]);
        self.mapping.scores.push(Expression::variable(score));
    }

    /// The value that later steps build on, if one does and an engine has the value as a number.
    fn add_own_value(&mut self) -> Result<(), ExportError> {
        let named = |proven: &ProvenStep| proven.expression.names().contains(&self.step.id.as_str());
        let none = matches!(self.step.kind, StepKind::Words | StepKind::Order);
        let (Some(key), true) =
            (self.proven.value.filter(|_| !none), self.mapping.source.proven_steps().iter().any(named))
        else {
            return Ok(());
        };
        let rule = follow_through::own_value(self.step, key, &self.names)
            .map_err(|error| self.at.identifier(error))?;
        let value = OutcomeDeclaration::unset(self.names.value.clone(), BaseType::Float);
        self.mapping.item.outcomes.push(value);
        self.mapping.item.processing.push(rule);
        Ok(())
    }

    /// Adds the rules for the value expected from earlier own values; gives the test that a response meets it.
    fn expected(&mut self) -> Option<Expression> {
        let formula = &self.proven.expression;
        if !follow_through::depends_on_steps(self.mapping.source, formula) {
            return None;
        }
        let found = match self.step.kind {
            // The choices keep their values, so own values can be put in order only if they are the same numbers, and
            // then their order is the right one: nothing can follow that is not right already.
            StepKind::Order => return None,
            // An interval is the same whatever the own value.
            StepKind::Number if matches!(self.step.accept.rule, Acceptance::Interval { .. }) => return None,
            StepKind::Words => Err(Reason::InWords { step: self.step.id.to_string() }),
            StepKind::Number | StepKind::Choice => {
                follow_through::expected(self.mapping.source, self.step, formula, &self.names, Known::Numbers)
                    .and_then(|rules| Ok((rules, self.meets_expected(formula)?)))
            }
        };
        match found {
            Ok((Expected { outcomes, rules }, test)) => {
                self.mapping.item.outcomes.extend(outcomes);
                self.mapping.item.processing.extend(rules);
                Some(test)
            }
            Err(reason) => {
                self.leave_out(Loss::FollowThrough, reason);
                None
            }
        }
    }

    /// Whether the response is what follows from the own earlier values.
    fn meets_expected(&self, formula: &Formula) -> Result<Expression, Reason> {
        let expected = Expression::variable(&self.names.expected);
        let response = Expression::variable(&self.names.response);
        match (self.step.kind, formula) {
            (StepKind::Choice, Formula::Comparison(..)) => {
                Ok(Expression::Match(Box::new(response), Box::new(expected)))
            }
            (StepKind::Choice, _) => self.chosen_is_worth(&expected),
            _ => accepted(&self.step.accept.rule, expected, response, self.places()),
        }
    }

    /// Whether the chosen choice is the only one worth the expected value.
    fn chosen_is_worth(&self, expected: &Expression) -> Result<Expression, Reason> {
        let choices = &self.step.choices;
        let alone = |value: Decimal| choices.iter().filter(|choice| choice.value == Some(value)).count() == 1;
        let worth =
            choices.iter().filter_map(|choice| Some((choice, choice.value.filter(|value| alone(*value))?)));
        let tests = worth.map(|(choice, value)| {
            let chosen = Expression::matches(&self.names.response, &Identifier::new(&choice.id)?);
            let meets =
                Expression::equal(Expression::float(value), expected.clone(), numeral::exact(value.places()));
            Ok(Expression::And(vec![chosen, meets]))
        });
        Ok(Expression::any(tests.collect::<Result<_, IdentifierError>>()?))
    }

    fn judging(&self, label: Option<&str>) -> Judging {
        let form = match self.step.kind {
            StepKind::Number => numeral::form_pattern(&self.step.accept.form, self.step.unit.as_deref()),
            StepKind::Choice | StepKind::Order | StepKind::Words => None,
        };
        let Mapping { words, .. } = *self.mapping;
        Judging::new(self.names.clone(), words, label, self.step, form)
    }

    fn leave_out(&mut self, what: Loss, reason: Reason) {
        let (item, step) = (self.at.item.to_owned(), self.at.step.to_owned());
        self.mapping.left_out.push(LeftOut { item, step, what, reason });
    }

    fn add_rubric_and_solution(self, label: Option<&str>, follows: bool) {
        let answer = self.printed_answer();
        let Self { mapping, step, .. } = self;
        let scoring = mapping.words.scoring(step, &answer, follows);
        mapping.rubric.push(Block::text(labelled(label, &scoring)));
        mapping.solution.push(Block::text(labelled(label, &step.prompt)));
        if !step.solution.is_empty() {
            mapping.solution.push(Block::Preformatted(step.solution.join("\n").into()));
        }
    }

    /// The right answer as people read it.
    fn printed_answer(&self) -> String {
        match &self.proven.key {
            Key::Number(_) if self.step.kind == StepKind::Words => self.step.answer.to_string(),
            Key::Number(key) => {
                let target = numeral::target(*key, &self.step.accept.rule).unwrap_or(*key);
                units::printed(&self.as_written(target), self.step.unit.as_deref())
            }
            Key::Choice(id) => self.choice_text(id),
            Key::Order(ids) => ids.iter().map(|id| self.choice_text(id)).collect::<Vec<_>>().join(", "),
        }
    }

    fn choice_text<'t>(&'t self, id: &'t str) -> String {
        let chosen = self.step.choices.iter().find(|choice| choice.id == id);
        chosen.map_or(id, |choice| &choice.text).to_owned()
    }
}

/// Steps answered by a number.
impl StepMapping<'_, '_> {
    fn add_number(
        &mut self,
        key: Decimal,
        expected: Option<Expression>,
        label: Option<&str>,
    ) -> Result<(), ExportError> {
        let target = numeral::target(key, &self.step.accept.rule).ok_or_else(|| self.at.too_long())?;
        let tolerance = self.tolerance(key).ok_or_else(|| self.at.too_long())?;
        let StepNames { response, raw, .. } = self.names.clone();
        let correct = Some(Value::Float(self.as_written(target)));
        self.mapping.item.responses.extend([
            ResponseDeclaration::single(response.clone(), BaseType::Float, correct),
            ResponseDeclaration::single(raw.clone(), BaseType::String, None),
        ]);
        self.mapping.answered.extend([Expression::is_given(&response), Expression::is_given(&raw)]);
        let length = self.step.answer.to_string().chars().count() + 2;
        let length = u32::try_from(length).unwrap_or(BOX_LENGTH).max(BOX_LENGTH);
        self.add_box(Some(raw.clone()), length, label);

        let mut judging = self.judging(label);
        judging.found(
            Verdict::Blank,
            Expression::And(vec![Expression::is_null(&response), Expression::is_null(&raw)]),
        );
        let centre = self.centre(target).ok_or_else(|| self.at.too_long())?;
        judging.right(Verdict::Right, self.reads_as(target, centre, tolerance));
        if let Some(test) = expected {
            judging.right(Verdict::FollowThrough, test);
        }
        for wrong in &self.proven.wrong {
            if let Key::Number(value) = &wrong.key {
                let test = self.reads_as(*value, *value, numeral::exact(self.places()));
                judging.predicted(&wrong.misconceptions, test).map_err(|error| self.at.identifier(error))?;
            }
        }
        judging.found(Verdict::Unreadable, Expression::is_null(&response));
        judging.finish(&mut self.mapping.item);
        self.report_form();
        Ok(())
    }

    fn add_box(&mut self, raw: Option<Identifier>, expected_length: u32, label: Option<&str>) {
        let (before, after) = around_box(self.step.unit.as_deref());
        let prompt = labelled(label, &self.step.prompt);
        let entry = TextEntryInteraction {
            label: prompt.clone(),
            response: self.names.response.clone(),
            raw,
            expected_length,
        };
        let mut line = vec![Inline::Text(format!("{prompt} {before}").into()), Inline::TextEntry(entry)];
        if !after.is_empty() {
            line.push(Inline::Text(after.into()));
        }
        let mut content = vec![Block::Paragraph(line)];
        let demand = self.step.accept.explained(self.mapping.words.language);
        if !demand.is_empty() {
            content.push(Block::text(demand));
        }
        self.mapping.item.body.push(Block::Division { class: STEP_CLASS, content });
    }

    /// What right responses lie around.
    fn centre(&self, target: Decimal) -> Option<Decimal> {
        match &self.step.accept.rule {
            Acceptance::Interval { from, to } => numeral::middle(*from, *to).map(|(middle, _)| middle),
            _ => Some(target),
        }
    }

    /// Whether the response is near the centre as a float, or is this value in the text as typed, which may hold a
    /// unit.
    fn reads_as(&self, value: Decimal, centre: Decimal, tolerance: Tolerance) -> Expression {
        let number = Expression::equal(
            Expression::float(centre),
            Expression::variable(&self.names.response),
            tolerance,
        );
        let text = Expression::PatternMatch {
            pattern: numeral::value_pattern(value, self.step.unit.as_deref()),
            text: Box::new(Expression::variable(&self.names.raw)),
        };
        Expression::Or(vec![number, text])
    }

    /// How far a right response may lie from the target.
    fn tolerance(&self, key: Decimal) -> Option<Tolerance> {
        match &self.step.accept.rule {
            Acceptance::Exact | Acceptance::Rounded { .. } => Some(numeral::exact(self.places())),
            Acceptance::Absolute { tolerance } => numeral::within(*tolerance, self.places()),
            Acceptance::Relative { percent } => {
                numeral::within(numeral::share(key, *percent)?, self.places())
            }
            Acceptance::Interval { from, to } => {
                numeral::within(numeral::middle(*from, *to)?.1, self.places())
            }
        }
    }

    /// The most places of any value that a response is compared with.
    fn places(&self) -> u32 {
        let number = |key: &Key| match key {
            Key::Number(number) => number.places(),
            Key::Choice(_) | Key::Order(_) => 0,
        };
        let wrong = self.proven.wrong.iter().map(|wrong| number(&wrong.key));
        wrong.chain([number(&self.proven.key)]).max().unwrap_or_default()
    }

    /// The target in the written form of the record, where that is the same value.
    fn as_written(&self, target: Decimal) -> Decimal {
        let written = self.step.answer.text().and_then(|text| text.parse().ok());
        written.filter(|written| *written == target).unwrap_or(target)
    }

    fn report_form(&mut self) {
        let form = self.step.accept.form;
        let single = matches!(self.step.accept.rule, Acceptance::Exact | Acceptance::Rounded { .. });
        if form.unit && !single {
            self.leave_out(Loss::Form, Reason::UnitInResponse { step: self.step.id.to_string() });
        }
        if form.decimal && form.credit.of(self.step.points) > 0 {
            self.leave_out(Loss::Form, Reason::NoDecimal);
        }
        if form.lowest_terms {
            self.leave_out(Loss::Form, Reason::LowestTerms);
        }
        if form.figures.is_some() {
            self.leave_out(Loss::Form, Reason::StatedFigures);
        }
    }
}

/// Steps answered by a choice.
impl StepMapping<'_, '_> {
    fn add_choice(
        &mut self,
        key: &str,
        expected: Option<Expression>,
        label: Option<&str>,
    ) -> Result<(), ExportError> {
        let at = self.at;
        let identifier = |id: &str| Identifier::new(id).map_err(|error| at.identifier(error));
        let response = self.names.response.clone();
        let key = identifier(key)?;
        let correct = Some(Value::Identifier(key.clone()));
        let declaration = ResponseDeclaration::single(response.clone(), BaseType::Identifier, correct);
        self.mapping.item.responses.push(declaration);
        self.mapping.answered.push(Expression::is_given(&response));
        let prompt = labelled(label, &self.step.prompt);
        let choices = self.simple_choices()?;
        let content = match compared(self.mapping.source, self.step, self.proven) {
            Some((left, right)) => {
                let choice =
                    InlineChoiceInteraction { response: response.clone(), label: prompt.clone(), choices };
                let line = vec![
                    Inline::Text(format!("{left} ").into()),
                    Inline::InlineChoice(choice),
                    Inline::Text(format!(" {right}").into()),
                ];
                vec![Block::text(prompt), Block::Paragraph(line)]
            }
            None => {
                let (response, shuffle) = (response.clone(), self.may_shuffle());
                vec![Block::Choice(ChoiceInteraction { response, shuffle, prompt, choices })]
            }
        };
        self.mapping.item.body.push(Block::Division { class: STEP_CLASS, content });

        let mut judging = self.judging(label);
        judging.found(Verdict::Blank, Expression::is_null(&response));
        judging.right(Verdict::Right, Expression::matches(&response, &key));
        if let Some(test) = expected {
            judging.right(Verdict::FollowThrough, test);
        }
        for wrong in &self.proven.wrong {
            if let Key::Choice(id) = &wrong.key {
                let test = Expression::matches(&response, &identifier(id)?);
                judging.predicted(&wrong.misconceptions, test).map_err(|error| at.identifier(error))?;
            }
        }
        judging.finish(&mut self.mapping.item);
        Ok(())
    }

    fn simple_choices(&self) -> Result<Vec<SimpleChoice>, ExportError> {
        let choices = self.step.choices.iter().map(|choice| {
            let identifier = Identifier::new(&choice.id).map_err(|error| self.at.identifier(error))?;
            Ok(SimpleChoice { identifier, text: vec![Inline::Text(choice.text.clone())] })
        });
        choices.collect()
    }

    /// Signs of comparison and amounts have an order of their own, in which pupils look for them. Sentences that name
    /// a mistake have none, whatever the mistake leads to, and a neighbour's place must not tell the answer.
    fn may_shuffle(&self) -> bool {
        let amount = |choice: &Choice| choice.value.is_some() && choice.mistake.is_none();
        !self.step.choices.iter().any(amount) && !matches!(*self.proven.expression, Formula::Comparison(..))
    }
}

/// Steps answered by putting choices in order.
impl StepMapping<'_, '_> {
    fn add_order(&mut self, key: &[SmolStr], label: Option<&str>) -> Result<(), ExportError> {
        let at = self.at;
        let identifiers = |ids: &[SmolStr]| {
            let each = ids.iter().map(|id| Identifier::new(id).map_err(|error| at.identifier(error)));
            each.collect::<Result<Vec<_>, _>>()
        };
        let response = self.names.response.clone();
        let key = identifiers(key)?;
        self.mapping.item.responses.push(ResponseDeclaration::ordered(response.clone(), &key));
        self.mapping.answered.push(Expression::is_given(&response));
        let interaction = OrderInteraction {
            response: response.clone(),
            // As the story names them, so that class and teacher speak of the same first one.
            shuffle: false,
            prompt: labelled(label, &self.step.prompt),
            choices: self.simple_choices()?,
        };
        let content = vec![Block::Order(interaction)];
        self.mapping.item.body.push(Block::Division { class: STEP_CLASS, content });

        let mut judging = self.judging(label);
        judging.found(Verdict::Blank, Expression::is_null(&response));
        judging.right(Verdict::Right, Expression::in_order(&response, &key));
        for wrong in &self.proven.wrong {
            if let Key::Order(ids) = &wrong.key {
                let test = Expression::in_order(&response, &identifiers(ids)?);
                judging.predicted(&wrong.misconceptions, test).map_err(|error| at.identifier(error))?;
            }
        }
        judging.finish(&mut self.mapping.item);
        Ok(())
    }
}

/// Steps answered by a number in words.
impl StepMapping<'_, '_> {
    fn add_words(&mut self, key: Decimal, label: Option<&str>) -> Result<(), ExportError> {
        let language = Language::of_locale(&self.mapping.source.locale)
            .expect("an item is proven in a language that has words for numbers");
        let response = self.names.response.clone();
        let correct = Some(Value::Text(self.step.answer.to_string()));
        let declaration = ResponseDeclaration::single(response.clone(), BaseType::String, correct);
        self.mapping.item.responses.push(declaration);
        let reads = |pattern: String| Expression::reads(&response, pattern);
        let blank = Expression::any(vec![Expression::is_null(&response), reads(in_words::blank())]);
        self.mapping.answered.push(Expression::Not(Box::new(blank.clone())));
        self.add_box(None, WORDS_LENGTH, label);

        let mut judging = self.judging(label);
        judging.found(Verdict::Blank, blank);
        let right = in_words::same_form(key, language).expect("a proven answer in words has words");
        judging.right(Verdict::Right, reads(right));
        if let Some(pattern) = in_words::other_form(key, language) {
            judging.in_other_form(reads(pattern));
        }
        for wrong in &self.proven.wrong {
            let pattern = match &wrong.key {
                Key::Number(value) => in_words::any_form(*value, language),
                Key::Choice(_) | Key::Order(_) => None,
            };
            if let Some(pattern) = pattern {
                let judged = judging.predicted(&wrong.misconceptions, reads(pattern));
                judged.map_err(|error| self.at.identifier(error))?;
            }
        }
        let readable = Box::new(reads(in_words::vocabulary(language)));
        judging.found(Verdict::UnreadableWords, Expression::Not(readable));
        judging.finish(&mut self.mapping.item);
        Ok(())
    }
}

/// The two numbers, as pupils read them, between which a step asks for the sign: a line with a choice inside. Only
/// where both are given; what is worked out first does not stand on the page.
pub(super) fn compared(item: &Item, step: &Step, proven: &ProvenStep) -> Option<(String, String)> {
    let given = |formula: &Formula| {
        let Formula::Name(name) = formula else { return None };
        let given = item.givens.iter().find(|given| given.name == *name)?;
        Some(units::printed(&given.value, given.unit.as_deref()))
    };
    match &*proven.expression {
        Formula::Comparison(left, right) if step.kind == StepKind::Choice => {
            Some((given(left)?, given(right)?))
        }
        _ => None,
    }
}

/// Whether a response is right for a key that is only known when the pupil has answered.
pub(super) fn accepted(
    rule: &Acceptance,
    key: Expression,
    response: Expression,
    places: u32,
) -> Result<Expression, Reason> {
    let exact = numeral::exact(places);
    match rule {
        Acceptance::Exact => Ok(Expression::equal(key, response, exact)),
        Acceptance::Absolute { tolerance } => {
            let tolerance = numeral::within(*tolerance, places).ok_or(Reason::TooLong)?;
            Ok(Expression::equal(key, response, tolerance))
        }
        Acceptance::Relative { percent } => {
            let share = numeral::share(whole(1), *percent).ok_or(Reason::TooLong)?;
            let difference = |from: &Expression, take: &Expression| {
                Expression::Subtract(Box::new(from.clone()), Box::new(take.clone()))
            };
            let apart = Expression::Max(vec![difference(&key, &response), difference(&response, &key)]);
            let width = Expression::Product(vec![key, Expression::float(share)]);
            // A share of a value has more places than the value.
            let slack = numeral::slack(places + share.places());
            let widened = Expression::Sum(vec![width, Expression::float(slack)]);
            Ok(Expression::Lte(Box::new(apart), Box::new(widened)))
        }
        Acceptance::Interval { .. } => Ok(Expression::any(Vec::new())),
        Acceptance::Rounded { ties: Ties::Even, .. } => Err(Reason::HalfEven),
        Acceptance::Rounded { to: Precision::Places(places_asked), ties: Ties::HalfUp } => {
            Ok(Expression::equal(follow_through::rounded(key, *places_asked), response, exact))
        }
        Acceptance::Rounded { to: Precision::Figures(_), ties: Ties::HalfUp } => {
            Err(Reason::SignificantFigures)
        }
    }
}
