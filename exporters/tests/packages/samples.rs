//! Items made by hand for what the starter bank does not hold: other rules, forms and expressions.
use qbank::{
    accept::{Acceptance, Form, Rule},
    arithmetic::{Value, prove},
    decimal::Decimal,
    expression::Expression,
    locale::Language,
    misconceptions,
    question::{Answer, Choice, Given, Item, Mistake, Prediction, Question, Step, StepKind},
};

pub(crate) fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

/// A question under construction; answers and predictions are worked out as steps are added.
pub(crate) struct Sample(Question);

impl Sample {
    pub(crate) fn new(id: &str, givens: &[(&str, &str)]) -> Self {
        let given =
            |(name, value): &(&str, &str)| Given { name: (*name).into(), value: decimal(value), unit: None };
        Self(Question {
            id: id.into(),
            family: "sample".into(),
            version: 1,
            seed: "by hand".into(),
            position: 0,
            locale: "en-US".into(),
            standards: vec!["5.NBT.B.7".into()],
            difficulty: 3,
            title: "A sample".into(),
            stem: "The river rose.\nThen it fell & rose < 1 m.".into(),
            givens: givens.iter().map(given).collect(),
            steps: Vec::new(),
            receipt: String::new(),
        })
    }

    pub(crate) fn number(
        self,
        id: &str,
        expression: &str,
        rule: Rule,
        form: Form,
        unit: Option<&str>,
    ) -> Self {
        self.step(id, StepKind::Number, expression, Acceptance { rule, form }, unit, Vec::new())
    }

    pub(crate) fn plain(self, id: &str, expression: &str) -> Self {
        self.number(id, expression, Rule::Exact, Form::default(), None)
    }

    /// A choice among amounts, or among texts without a value.
    pub(crate) fn choice(self, id: &str, expression: &str, choices: &[(&str, Option<&str>)]) -> Self {
        let choice = |(index, (text, value)): (usize, &(&str, Option<&str>))| Choice {
            id: ["A", "B", "C", "D"][index].into(),
            text: (*text).into(),
            value: value.map(decimal),
            mistake: None,
        };
        let choices = choices.iter().enumerate().map(choice).collect();
        self.step(id, StepKind::Choice, expression, Acceptance::EXACT, None, choices)
    }

    /// An order of amounts, each with its text.
    pub(crate) fn order(self, id: &str, expression: &str, values: &[&str]) -> Self {
        let choice = |(index, value): (usize, &&str)| Choice {
            id: ["A", "B", "C", "D"][index].into(),
            text: format!("{value} m").into(),
            value: Some(decimal(value)),
            mistake: None,
        };
        let choices = values.iter().enumerate().map(choice).collect();
        self.step(id, StepKind::Order, expression, Acceptance::EXACT, None, choices)
    }

    /// A number in words, in the language of the question's locale so far.
    pub(crate) fn words(self, id: &str, expression: &str) -> Self {
        self.step(id, StepKind::Words, expression, Acceptance::EXACT, None, Vec::new())
    }

    /// A choice among mistakes in an exercise, the first of which leads to the given that is named.
    pub(crate) fn mistake(self, id: &str, given: &str, of: &str, mistakes: &[(&str, &str)]) -> Self {
        let names = self.0.given_names();
        let choice = |(index, (misconception, text)): (usize, &(&str, &str))| {
            let known = misconceptions::find(misconception).unwrap();
            let value = misconceptions::predict(known, &of.parse().unwrap(), &names);
            let Some(Value::Number(value)) = value else { panic!("{misconception} leads to a number") };
            let mistake = Mistake { misconception: (*misconception).into(), of: of.into() };
            Choice {
                id: ["A", "B", "C", "D"][index].into(),
                text: (*text).into(),
                value: Some(value),
                mistake: Some(mistake),
            }
        };
        let choices = mistakes.iter().enumerate().map(choice).collect();
        self.step(id, StepKind::Choice, given, Acceptance::EXACT, None, choices)
    }

    fn step(
        mut self,
        id: &str,
        kind: StepKind,
        expression: &str,
        accept: Acceptance,
        unit: Option<&str>,
        choices: Vec<Choice>,
    ) -> Self {
        let formula: Expression = expression.parse().unwrap();
        let mut names = self.0.given_names();
        for step in &self.0.steps {
            let key = step.key_for(&prove(&step.expression.parse().unwrap(), &names).unwrap()).unwrap();
            names.extend(step.value_of(&key).map(|value| (step.id.clone(), value)));
        }
        let mut step = Step {
            id: id.into(),
            kind,
            prompt: format!("How much is {id}?").into(),
            expression: expression.into(),
            answer: Answer::Text("".into()),
            unit: unit.map(Into::into),
            accept,
            points: 2,
            predicted: Vec::new(),
            choices,
            solution: vec!["  12.40".into(), "+  3.57".into()],
        };
        let key = step.key_for(&prove(&formula, &names).unwrap()).unwrap();
        let language = Language::of_locale(&self.0.locale).unwrap();
        step.answer = step.answer_of(&key, language).unwrap();
        for predicted in misconceptions::predict_all(misconceptions::all(), &formula, &names) {
            let Ok(wrong) = step.key_for(&predicted.value) else { continue };
            if !step.marks_right(&key, &wrong) {
                let Ok(answer) = step.answer_of(&wrong, language) else { continue };
                let misconception = predicted.joined();
                step.predicted.push(Prediction { misconception, answer, expression: None });
            }
        }
        self.0.steps.push(step);
        self
    }

    /// Changes the record before it is proven.
    pub(crate) fn with(mut self, change: impl FnOnce(&mut Question)) -> Self {
        change(&mut self.0);
        self
    }

    pub(crate) fn item(self) -> Item {
        self.0.sealed().verify().unwrap()
    }
}
