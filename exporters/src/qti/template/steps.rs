//! The steps of a family: right answers, predicted wrong answers, what is asked, and how a response is judged.
//!
//! The order of judgement is that of fixed items ([`crate::qti::from_item`]). Wrong answers differ from session to
//! session, and so does which of them are the same; therefore all misconceptions that a response is consistent with
//! are gathered in a variable of the step, `CONSISTENT_…`.
use qbank::{
    accept::{Form, Rule as Acceptance},
    expression::{Direction, Expression as Formula},
    family::{Choices, FamilyStep},
    misconceptions::{self, Misconception},
    question::{Step, StepKind},
};

use super::{
    Fixed, Int, Mapping, Refusal, Test, correct,
    formulas::Case,
    integer::lined_up,
    misconceptions::{Bend, predicted, translated},
    paragraph,
    texts::around,
};
use crate::qti::{
    follow_through::{self, Expected, Known},
    from_item::StepNames,
    from_step::{BOX_LENGTH, STEP_CLASS, accepted},
    judging::{Judging, Verdict},
    model::{
        BaseType, Block, Cardinality, ChoiceInteraction, Identifier, Inline, OrderInteraction,
        OutcomeDeclaration, PrintedVariable, ResponseDeclaration, SimpleChoice, TextEntryInteraction,
    },
    numeral,
    processing::{Branch, Expression, Rule, TemplateRule},
    report::{LeftOut, Loss, Reason},
};

/// The right answer of a step.
pub(super) struct Key {
    /// The variable that holds it: a float, an identifier, or identifiers in order.
    variable: Identifier,
    /// The number, where it is one.
    number: Option<Fixed>,
}

/// A wrong answer.
struct Wrong {
    misconception: &'static Misconception,
    variable: Identifier,
}

impl Mapping<'_> {
    /// Works out the right answers, in order.
    pub(super) fn add_keys(&mut self) -> Result<(), Refusal> {
        let family = self.family;
        for (index, step) in family.steps.iter().enumerate() {
            let named = |later: &FamilyStep| {
                let choices = matches!(&later.choices, Choices::Values(names) if names.iter().any(|name| *name == step.id));
                choices
                    || later.expression.names().contains(&step.id.as_str())
                    || later.mistakes.iter().any(|(_, mistaken)| mistaken.names().contains(&step.id.as_str()))
            };
            let used = family.steps[index + 1..].iter().any(named);
            let key = self.key(step, used)?;
            self.keys.push(key);
        }
        Ok(())
    }

    fn key(&mut self, step: &FamilyStep, used: bool) -> Result<Key, Refusal> {
        let variable = Identifier::new(&format!("KEY_{}", step.id))?;
        match step.kind {
            StepKind::Words => Err(Refusal::Words),
            StepKind::Number => {
                let form = Form {
                    places: step.accept.form.places,
                    credit: step.accept.form.credit,
                    ..Form::default()
                };
                if step.accept.rule != Acceptance::Exact || step.accept.form != form {
                    return Err(Refusal::Acceptance { step: step.id.to_string() });
                }
                let number = self.formulas().value(&step.expression)?;
                self.demand_value(&number)?;
                let number = match self.written_in(step, used) {
                    Some(places) => self.with_places(&number, places)?,
                    None if used => self.settled(&number, &step.id)?,
                    None => number,
                };
                if used {
                    self.demand(&number.units.at_least(&1.into()))?;
                }
                self.know("KEY", &step.id, &number)?;
                Ok(Key { variable, number: Some(self.names[step.id.as_str()].clone()) })
            }
            StepKind::Choice => self.choice_key(step, variable),
            StepKind::Order => {
                let choices = self.order_choices(step)?;
                let ranks = self.ranks(step, None)?;
                self.put_in_order(&variable, &ranks, &choices)?;
                let values: Vec<Fixed> = choices.iter().map(|(name, _)| self.names[name].clone()).collect();
                self.demand_apart(&values)?;
                Ok(Key { variable, number: None })
            }
        }
    }

    /// What is rounded is written with the places it is rounded to, wherever it is used.
    fn written_in(&self, step: &FamilyStep, used: bool) -> Option<u32> {
        let copied = match &*step.expression {
            Formula::Name(name) => self.names.get(name.as_str()).map(|number| number.places),
            formula => formula.rounded_places(),
        };
        copied.filter(|_| used)
    }

    fn demand_apart(&mut self, values: &[Fixed]) -> Result<(), Refusal> {
        for (index, one) in values.iter().enumerate() {
            for other in &values[..index] {
                let (one, other, _) = lined_up(one, other);
                self.demand(&one.equals(&other).not())?;
            }
        }
        Ok(())
    }

    fn choice_key(&mut self, step: &FamilyStep, variable: Identifier) -> Result<Key, Refusal> {
        match (&step.choices, &*step.expression) {
            (Choices::Relations, Formula::Comparison(left, right)) => {
                let (less, greater) = self.formulas().comparison(left, right, None)?;
                self.set_sign(&variable, &less, &greater);
                Ok(Key { variable, number: None })
            }
            (Choices::Values(names), formula) => {
                let values = self.values(names)?;
                self.demand_apart(&values)?;
                let number = self.formulas().value(formula)?;
                self.demand_value(&number)?;
                let number = self.settled(&number, &step.id)?;
                self.choose_value(&variable, &number, &values);
                self.demand_given(&variable)?;
                self.know("VALUE_OF", &step.id, &number)?;
                Ok(Key { variable, number: Some(number) })
            }
            (Choices::Mistakes(given), _) => {
                let mistakes = &self.mistakes[given];
                let (which, each) = (mistakes.which.clone(), mistakes.each.clone());
                let shown = self.names[given].clone();
                let mut cases = Vec::new();
                for (index, (_, number)) in (0_i64..).zip(&each) {
                    // Whatever other mistake leads to the number shown would be right as well.
                    let (wrong, number, _) = lined_up(number, &shown);
                    self.demand(&which.is(index).or(&wrong.equals(&number).not()))?;
                    cases.push((which.is(index), Expression::identifier(&letter(index)?)));
                }
                self.program.choose_into(&variable, BaseType::Identifier, cases);
                Ok(Key { variable, number: None })
            }
            _ => Err(Refusal::Nested),
        }
    }

    fn demand_given(&mut self, variable: &Identifier) -> Result<(), Refusal> {
        self.demand(&Test::Open { expression: Expression::is_given(variable), peak: 0 })
    }

    fn values(&self, names: &[String]) -> Result<Vec<Fixed>, Refusal> {
        let value = |name: &String| {
            self.names.get(name).cloned().ok_or_else(|| Refusal::NoNumber { name: name.clone() })
        };
        names.iter().map(value).collect()
    }

    /// Sets the sign between two numbers.
    fn set_sign(&mut self, variable: &Identifier, less: &Test, greater: &Test) {
        let sign = |name: &'static str| Expression::identifier(&Identifier::fixed(name));
        let cases = vec![(less.clone(), sign("A")), (greater.clone(), sign("C")), (Test::TRUE, sign("B"))];
        self.program.choose_into(variable, BaseType::Identifier, cases);
    }

    /// Sets the choice that is worth a number; null where none is.
    fn choose_value(&mut self, variable: &Identifier, number: &Fixed, values: &[Fixed]) {
        let cases = (0_i64..).zip(values).filter_map(|(index, value)| {
            let (value, number, _) = lined_up(value, number);
            Some((value.equals(&number), Expression::identifier(&letter(index).ok()?)))
        });
        let cases = cases.collect();
        self.program.choose_into(variable, BaseType::Identifier, cases);
    }

    /// The choices of an order by name, and which place in the expression each has.
    fn order_choices(&self, step: &FamilyStep) -> Result<Vec<(String, usize)>, Refusal> {
        let (Choices::Values(names), Formula::Order(_, values)) = (&step.choices, &*step.expression) else {
            return Err(Refusal::Nested);
        };
        let place = |name: &String| {
            let is = |value: &Formula| matches!(value, Formula::Name(known) if known == name);
            let place = values.iter().position(is).ok_or_else(|| Refusal::NoNumber { name: name.clone() })?;
            Ok((name.clone(), place))
        };
        names.iter().map(place).collect()
    }

    fn ranks(&mut self, step: &FamilyStep, bend: Option<&Bend>) -> Result<Vec<Int>, Refusal> {
        let Formula::Order(direction, values) = &*step.expression else { return Err(Refusal::Nested) };
        let direction: Direction = *direction;
        self.formulas().ranks(direction, values, bend)
    }

    /// Sets the choices in the order of their ranks.
    fn put_in_order(
        &mut self,
        variable: &Identifier,
        ranks: &[Int],
        choices: &[(String, usize)],
    ) -> Result<(), Refusal> {
        let mut places = Vec::new();
        for rank in 0..i64::try_from(choices.len()).unwrap_or(0) {
            let place = Identifier::new(&format!("{variable}_{}", rank + 1))?;
            let mut cases = Vec::new();
            for (index, (_, at)) in (0_i64..).zip(choices) {
                cases.push((ranks[*at].is(rank), Expression::identifier(&letter(index)?)));
            }
            self.program.choose_into(&place, BaseType::Identifier, cases);
            places.push(Expression::variable(&place));
        }
        self.program.declare(variable, Cardinality::Ordered, BaseType::Identifier);
        self.program
            .rules
            .push(TemplateRule::SetTemplateValue(variable.clone(), Expression::Ordered(places)));
        Ok(())
    }
}

/// The identifier of a choice.
fn letter(index: i64) -> Result<Identifier, Refusal> {
    let letter = u8::try_from(index).ok().and_then(|index| b'A'.checked_add(index)).unwrap_or(b'_');
    Ok(Identifier::new(&char::from(letter).to_string())?)
}

/// Predicted wrong answers.
impl Mapping<'_> {
    fn wrong_answers(&mut self, step: &FamilyStep, key: &Identifier) -> Result<Vec<Wrong>, Refusal> {
        let family = self.family;
        let mut wrong = Vec::new();
        for misconception in &family.misconceptions {
            let id = misconception.id;
            if matches!(misconception.rule, misconceptions::Rule::Stated) {
                continue;
            }
            let bend = translated(id).ok_or(Refusal::Misconception { id })?;
            let variable = Identifier::new(&format!("WRONG_{}_{}", step.id, wrong.len() + 1))?;
            if self.predict(step, &bend, &variable)? {
                wrong.push(Wrong { misconception, variable });
            }
        }
        for (misconception, mistaken) in &step.mistakes {
            let variable = Identifier::new(&format!("WRONG_{}_{}", step.id, wrong.len() + 1))?;
            let cases = self.formulas().number(mistaken, None)?;
            self.state(step, &cases, &variable)?;
            // What is predicted already stays with the misconception that came first.
            let known: Vec<Expression> =
                wrong.iter().map(|other: &Wrong| same(step.kind, &variable, &other.variable)).collect();
            if !known.is_empty() {
                self.nothing_where(Expression::any(known), &variable);
            }
            wrong.push(Wrong { misconception, variable });
        }
        // Where a misconception leads to the right answer it predicts nothing.
        for one in &wrong {
            self.nothing_where(same(step.kind, key, &one.variable), &one.variable);
        }
        self.demand_separate(step, &wrong)?;
        Ok(wrong)
    }

    /// Takes the value of a variable away where the test holds.
    fn nothing_where(&mut self, test: Expression, variable: &Identifier) {
        let rules = vec![TemplateRule::SetTemplateValue(variable.clone(), Expression::Null)];
        self.program
            .rules
            .push(TemplateRule::Condition { branches: vec![Branch { test, rules }], otherwise: Vec::new() });
    }

    /// Sets what a misconception leads to; gives whether it can lead to anything of its own.
    fn predict(&mut self, step: &FamilyStep, bend: &Bend, variable: &Identifier) -> Result<bool, Refusal> {
        match (&*step.expression, step.kind) {
            (Formula::Comparison(left, right), _) => {
                if matches!(bend, Bend::Instead(_)) {
                    return Ok(false);
                }
                let (less, greater) = self.formulas().comparison(left, right, Some(bend))?;
                self.set_sign(variable, &less, &greater);
                Ok(true)
            }
            (Formula::Order(..), _) => {
                if !matches!(bend, Bend::Compare(_)) {
                    return Ok(false);
                }
                let ranks = self.ranks(step, Some(bend))?;
                let choices = self.order_choices(step)?;
                self.put_in_order(variable, &ranks, &choices)?;
                Ok(true)
            }
            (formula, _) => {
                if !concerns(bend, formula) {
                    return Ok(false);
                }
                let cases = predicted(&mut self.formulas(), formula, bend)?;
                if cases.is_empty() {
                    return Ok(false);
                }
                self.state(step, &cases, variable)?;
                Ok(true)
            }
        }
    }

    /// Sets a variable to a wrong answer, as a number or as the choice that is worth it.
    fn state(&mut self, step: &FamilyStep, cases: &[Case], variable: &Identifier) -> Result<(), Refusal> {
        match &step.choices {
            Choices::Values(names) => {
                let number = self.formulas().joined(cases)?;
                let values = self.values(names)?;
                self.choose_value(variable, &number, &values);
            }
            Choices::Mistakes(given) => {
                let number = self.formulas().joined(cases)?;
                let values: Vec<Fixed> =
                    self.mistakes[given].each.iter().map(|(_, number)| number.clone()).collect();
                self.choose_value(variable, &number, &values);
            }
            Choices::None | Choices::Relations => {
                let floats = cases.iter().map(|case| (case.when.clone(), case.amount.float()));
                let floats = floats.collect();
                self.program.choose_into(variable, BaseType::Float, floats);
            }
        }
        Ok(())
    }

    /// As many different wrong answers as the family wants must be there.
    fn demand_separate(&mut self, step: &FamilyStep, wrong: &[Wrong]) -> Result<(), Refusal> {
        if step.separates == 0 {
            return Ok(());
        }
        let not = |test: Expression| Expression::Not(Box::new(test));
        let mut count = Int::from(0);
        for (index, one) in wrong.iter().enumerate() {
            let mut tests = vec![Expression::is_given(&one.variable)];
            tests.extend(wrong[..index].iter().map(|other| {
                let apart = not(same(step.kind, &other.variable, &one.variable));
                Expression::Or(vec![Expression::is_null(&other.variable), apart])
            }));
            let test = Test::Open { expression: Expression::And(tests), peak: 0 };
            count = count.plus(&self.program.indicator(&test));
        }
        let least = i64::try_from(step.separates).unwrap_or(i64::MAX);
        self.demand(&count.at_least(&least.into()))
    }
}

/// Whether a misconception can be at work in an expression at all; if not, it makes no difference.
fn concerns(bend: &Bend, formula: &Formula) -> bool {
    use qbank::expression::{Function, Operation};
    let mut found = matches!(bend, Bend::Instead(_));
    formula.visit(&mut |part| {
        found |= match (part, bend) {
            (Formula::Binary(operation, ..), Bend::Operation(bent, _) | Bend::Exercise(bent, _)) => {
                operation == bent
            }
            (Formula::Binary(operation, ..), Bend::PowerOfTen(_)) => {
                matches!(operation, Operation::Multiply | Operation::Divide)
            }
            (Formula::Binary(Operation::Divide, ..), Bend::ZeroDropped) => true,
            (Formula::Call(Function::Round, _), Bend::Round(_)) => true,
            (
                Formula::Call(Function::Max | Function::Min | Function::SmallestAtLeast, _),
                Bend::Compare(_),
            ) => true,
            _ => false,
        };
    });
    found
}

/// Whether two variables hold the same answer.
fn same(kind: StepKind, one: &Identifier, other: &Identifier) -> Expression {
    let (one, other) = (Expression::variable(one), Expression::variable(other));
    match kind {
        StepKind::Number | StepKind::Words => Expression::equal(one, other, numeral::exact(PLACES)),
        StepKind::Choice | StepKind::Order => Expression::Match(Box::new(one), Box::new(other)),
    }
}

/// More places than any value of a template has: 32 bits hold nine digits.
const PLACES: u32 = 6;

/// Body, rules and feedback.
impl Mapping<'_> {
    pub(super) fn add_steps(&mut self) -> Result<(), Refusal> {
        let family = self.family;
        let sample = self.sample;
        for (index, (asked, step)) in family.steps.iter().zip(&sample.steps).enumerate() {
            let label = self.words.step_label(index, family.steps.len());
            let names = StepNames::of(step)?;
            self.add_step(index, asked, step, &names, label.as_deref())?;
        }
        Ok(())
    }

    fn add_step(
        &mut self,
        index: usize,
        asked: &FamilyStep,
        step: &Step,
        names: &StepNames,
        label: Option<&str>,
    ) -> Result<(), Refusal> {
        let key = self.keys[index].variable.clone();
        let wrong = self.wrong_answers(asked, &key)?;
        let consistent = Identifier::new(&format!("CONSISTENT_{}", step.id))?;
        self.item.outcomes.extend([
            OutcomeDeclaration::score(names.score.clone(), qbank::decimal::Decimal::ZERO, Some(step.points)),
            OutcomeDeclaration::unset(names.feedback.clone(), BaseType::Identifier),
            OutcomeDeclaration {
                cardinality: Cardinality::Multiple,
                ..OutcomeDeclaration::unset(consistent.clone(), BaseType::Identifier)
            },
        ]);
        self.scores.push(Expression::variable(&names.score));
        self.add_own_value(index, asked, names)?;
        let expected = self.expected(asked, step, names)?;
        let follows = expected.is_some();
        self.ask(index, asked, step, names, label)?;
        self.program.rules.push(correct(&names.response, &key));

        let form = match step.kind {
            StepKind::Number => numeral::form_pattern(&step.accept.form, step.unit.as_deref()),
            StepKind::Choice | StepKind::Order | StepKind::Words => None,
        };
        let mut judging = Judging::new(names.clone(), self.words, label, step, form);
        judging.found(Verdict::Blank, self.blank(step.kind, names));
        judging.right(Verdict::Right, meets(step.kind, &key, &names.response));
        if let Some(test) = expected {
            judging.right(Verdict::FollowThrough, test);
        }
        let language = self.words.language;
        let each = wrong.iter().map(|one| {
            let test = meets(step.kind, &one.variable, &names.response);
            let content = vec![Block::text(one.misconception.pupil(language))];
            Ok((Identifier::new(one.misconception.id)?, content, test))
        });
        judging.consistent(&consistent, each.collect::<Result<_, Refusal>>()?);
        if step.kind == StepKind::Number {
            judging.found(Verdict::Unreadable, Expression::is_null(&names.response));
        }
        judging.finish(&mut self.item);
        self.tell_answer(index, step, label, follows);
        Ok(())
    }

    fn blank(&self, kind: StepKind, names: &StepNames) -> Expression {
        let response = Expression::is_null(&names.response);
        match kind {
            StepKind::Number => Expression::And(vec![response, Expression::is_null(&names.raw)]),
            StepKind::Choice | StepKind::Order | StepKind::Words => response,
        }
    }

    /// Declares the response and asks for it.
    fn ask(
        &mut self,
        index: usize,
        asked: &FamilyStep,
        step: &Step,
        names: &StepNames,
        label: Option<&str>,
    ) -> Result<(), Refusal> {
        let response = names.response.clone();
        let mut prompt: Vec<Inline> =
            label.map(|label| format!("{label}: ").as_str().into()).into_iter().collect();
        prompt.extend(self.told.prompts.get(step.id.as_str()).cloned().unwrap_or_default());
        let (cardinality, base_type) = match step.kind {
            StepKind::Number | StepKind::Words => (Cardinality::Single, BaseType::Float),
            StepKind::Choice => (Cardinality::Single, BaseType::Identifier),
            StepKind::Order => (Cardinality::Ordered, BaseType::Identifier),
        };
        let declaration =
            ResponseDeclaration { identifier: response.clone(), cardinality, base_type, correct: Vec::new() };
        self.item.responses.push(declaration);
        self.answered.push(Expression::is_given(&response));
        let content = match step.kind {
            StepKind::Number | StepKind::Words => self.number_box(index, step, names, prompt, label),
            StepKind::Choice | StepKind::Order => {
                let choices = self.choices(asked)?;
                let (mut content, prompt) = match spoken(&prompt) {
                    Some(text) => (Vec::new(), text),
                    // A prompt cannot hold variables.
                    None => (vec![paragraph(prompt)], String::new()),
                };
                content.push(match step.kind {
                    StepKind::Order => {
                        Block::Order(OrderInteraction { response, shuffle: false, prompt, choices })
                    }
                    _ => Block::Choice(ChoiceInteraction {
                        response,
                        shuffle: shuffles(asked),
                        prompt,
                        choices,
                    }),
                });
                content
            }
        };
        self.item.body.push(Block::Division { class: STEP_CLASS, content });
        Ok(())
    }

    fn number_box(
        &mut self,
        index: usize,
        step: &Step,
        names: &StepNames,
        mut prompt: Vec<Inline>,
        label: Option<&str>,
    ) -> Vec<Block> {
        self.item.responses.push(ResponseDeclaration::single(names.raw.clone(), BaseType::String, None));
        self.answered.push(Expression::is_given(&names.raw));
        let digits = self.keys[index]
            .number
            .as_ref()
            .map_or(0, |number| *number.units.digit_counts().end() + u32::from(number.places > 0));
        let (before, after) = crate::qti::wording::around_box(step.unit.as_deref());
        let entry = TextEntryInteraction {
            response: names.response.clone(),
            raw: Some(names.raw.clone()),
            label: spoken(&prompt).unwrap_or_else(|| label.unwrap_or(self.words.answer_label()).to_owned()),
            expected_length: BOX_LENGTH.max(digits + 2),
        };
        prompt.push(Inline::Text(format!(" {before}").into()));
        prompt.push(Inline::TextEntry(entry));
        if !after.is_empty() {
            prompt.push(Inline::Text(after.into()));
        }
        let mut content = vec![paragraph(prompt)];
        let demand = step.accept.explained(self.words.language);
        if !demand.is_empty() {
            content.push(Block::text(demand));
        }
        content
    }

    fn choices(&self, asked: &FamilyStep) -> Result<Vec<SimpleChoice>, Refusal> {
        let texts: Vec<Vec<Inline>> = match &asked.choices {
            Choices::None => Vec::new(),
            Choices::Relations => ["<", "=", ">"].map(|sign| vec![sign.into()]).into(),
            Choices::Values(names) => {
                names.iter().map(|name| self.with_unit(name, asked.unit.as_deref())).collect()
            }
            Choices::Mistakes(given) => {
                let told = &self.family.texts[self.locale].choices;
                let each = self.mistakes[given].each.iter();
                each.map(|(misconception, _)| {
                    vec![told.get(misconception.id).map_or("", |told| told.as_str()).into()]
                })
                .collect()
            }
        };
        let choice = |(index, text)| Ok(SimpleChoice { identifier: letter(index)?, text });
        (0_i64..).zip(texts).map(choice).collect()
    }

    /// The value that later steps build on.
    fn add_own_value(&mut self, index: usize, asked: &FamilyStep, names: &StepNames) -> Result<(), Refusal> {
        let later = &self.family.steps[index + 1..];
        let named = later.iter().any(|step| step.expression.names().contains(&asked.id.as_str()));
        if !named || asked.kind == StepKind::Order {
            return Ok(());
        }
        let set = |value: Expression| vec![Rule::SetOutcomeValue(names.value.clone(), value)];
        let branches = match &asked.choices {
            Choices::Values(choices) => {
                let branch = |(index, name): (i64, &String)| {
                    let test = Expression::matches(&names.response, &letter(index)?);
                    Ok(Branch { test, rules: set(Expression::variable(&self.floats[name])) })
                };
                (0_i64..).zip(choices).map(branch).collect::<Result<Vec<_>, Refusal>>()?
            }
            _ => vec![Branch {
                test: Expression::is_given(&names.response),
                rules: set(Expression::variable(&names.response)),
            }],
        };
        let key = self
            .floats
            .get(asked.id.as_str())
            .ok_or_else(|| Refusal::NoNumber { name: asked.id.to_string() })?;
        let otherwise = set(Expression::variable(key));
        self.item.outcomes.push(OutcomeDeclaration::unset(names.value.clone(), BaseType::Float));
        self.item.processing.push(Rule::Condition { branches, otherwise });
        Ok(())
    }

    /// The test that a response is right from the pupil's own earlier values.
    fn expected(
        &mut self,
        asked: &FamilyStep,
        step: &Step,
        names: &StepNames,
    ) -> Result<Option<Expression>, Refusal> {
        let formula = &asked.expression;
        if asked.kind == StepKind::Order || !follow_through::depends_on_steps(self.sample, formula) {
            return Ok(None);
        }
        let found =
            follow_through::expected(self.sample, step, formula, names, Known::Variables(&self.floats))
                .and_then(|rules| Ok((rules, self.meets_expected(asked, names)?)));
        match found {
            Ok((Expected { outcomes, rules }, test)) => {
                self.item.outcomes.extend(outcomes);
                self.item.processing.extend(rules);
                Ok(Some(test))
            }
            Err(reason) => {
                self.left_out.push(LeftOut {
                    item: self.item.identifier.to_string(),
                    step: step.id.to_string(),
                    what: Loss::FollowThrough,
                    reason,
                });
                Ok(None)
            }
        }
    }

    fn meets_expected(&self, asked: &FamilyStep, names: &StepNames) -> Result<Expression, Reason> {
        let (expected, response) =
            (Expression::variable(&names.expected), Expression::variable(&names.response));
        match (&asked.choices, &*asked.expression) {
            (_, Formula::Comparison(..)) => Ok(Expression::Match(Box::new(response), Box::new(expected))),
            (Choices::Values(choices), _) => {
                let tests = ('A'..='Z').zip(choices).map(|(letter, name)| {
                    let chosen = Expression::matches(&names.response, &Identifier::new(&letter.to_string())?);
                    let worth = Expression::variable(&self.floats[name]);
                    let meets = Expression::equal(worth, expected.clone(), numeral::exact(PLACES));
                    Ok(Expression::And(vec![chosen, meets]))
                });
                Ok(Expression::any(tests.collect::<Result<_, Reason>>()?))
            }
            _ => accepted(&asked.accept.rule, expected, response, PLACES),
        }
    }

    /// The right answer, for scorers and for the worked solution.
    fn tell_answer(&mut self, index: usize, step: &Step, label: Option<&str>, follows: bool) {
        const PLACE: &str = "\u{0}";
        let answer = self.answer(index, step);
        let scoring = self.words.scoring(step, PLACE, follows);
        let (before, after) = scoring.split_once(PLACE).unwrap_or((&scoring, ""));
        let mut line: Vec<Inline> = vec![
            label.map_or_else(|| before.to_owned(), |label| format!("{label}: {before}")).as_str().into(),
        ];
        line.extend(answer.clone());
        line.push(after.into());
        self.rubric.push(paragraph(line));
        let mut line: Vec<Inline> =
            label.map(|label| format!("{label}: ").as_str().into()).into_iter().collect();
        line.extend(self.told.prompts.get(step.id.as_str()).cloned().unwrap_or_default());
        line.push(" ".into());
        line.extend(answer);
        self.working.push(paragraph(line));
    }

    /// What is right, as a variable tells it: numbers with their unit, choices by their letters.
    fn answer(&self, index: usize, step: &Step) -> Vec<Inline> {
        let key = &self.keys[index];
        let of = |identifier: &Identifier, places| {
            Inline::Printed(PrintedVariable { identifier: identifier.clone(), places })
        };
        match (step.kind, &key.number) {
            (StepKind::Number, Some(number)) => {
                let places = step.accept.form.places.unwrap_or(number.places);
                let (before, after) = around(step.unit.as_deref());
                let text = |text: String| (!text.is_empty()).then_some(Inline::Text(text.into()));
                let parts = [text(before), Some(of(&key.variable, Some(places))), text(after)];
                parts.into_iter().flatten().collect()
            }
            (StepKind::Choice, Some(_)) => self.with_unit(&step.id, step.unit.as_deref()),
            (StepKind::Order, _) => {
                let places = (1..=step.choices.len()).filter_map(|place| {
                    Some(of(&Identifier::new(&format!("{}_{place}", key.variable)).ok()?, None))
                });
                let mut told: Vec<Inline> = Vec::new();
                for place in places {
                    if !told.is_empty() {
                        told.push(", ".into());
                    }
                    told.push(place);
                }
                told
            }
            _ => vec![of(&key.variable, None)],
        }
    }
}

/// Whether a response is what a variable holds.
fn meets(kind: StepKind, variable: &Identifier, response: &Identifier) -> Expression {
    same(kind, variable, response)
}

/// Signs and amounts have an order of their own; sentences that name a mistake have none.
fn shuffles(asked: &FamilyStep) -> bool {
    matches!(asked.choices, Choices::Mistakes(_))
}

/// A prompt as a label, where no variable stands in it.
fn spoken(prompt: &[Inline]) -> Option<String> {
    let mut label = String::new();
    for inline in prompt {
        let Inline::Text(text) = inline else { return None };
        label.push_str(text);
    }
    Some(label)
}
