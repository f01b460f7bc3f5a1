//! The response condition of one step: its branches in order of judgement, each with its points and feedback.
//!
//! Only the shape of judging is here. Which test belongs to which verdict is decided in [`super::from_item`].
use qbank::{decimal::Decimal, misconceptions, question::Step};
use smol_str::SmolStr;

use super::{
    from_item::StepNames,
    model::{AssessmentItem, Block, Identifier, IdentifierError, ModalFeedback},
    processing::{Branch, Expression, Rule},
    wording::Wording,
};

/// How a step is judged where no misconception is involved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    /// No response at all.
    Blank,
    /// Right.
    Right,
    /// The right value in another form than asked for.
    Form,
    /// Right from the pupil's own earlier value.
    FollowThrough,
    /// A text that is no number.
    Unreadable,
    /// A text that is no number in words.
    UnreadableWords,
    /// One of several wrong answers that only the platform knows; what it is consistent with stands apart.
    Predicted,
    /// Anything else.
    Other,
}

impl Verdict {
    /// What the step's feedback variable holds. In capital letters, so that no misconception has the same name.
    fn identifier(self) -> Identifier {
        Identifier::fixed(match self {
            Self::Blank => "BLANK",
            Self::Right => "RIGHT",
            Self::Form => "RIGHT_VALUE_WRONG_FORM",
            Self::FollowThrough => "FOLLOW_THROUGH",
            Self::Unreadable | Self::UnreadableWords => "UNREADABLE",
            Self::Predicted => "PREDICTED",
            Self::Other => "OTHER",
        })
    }

    fn sentence(self, words: &Wording) -> &'static str {
        match self {
            Self::Blank => words.blank,
            Self::Right => words.right,
            Self::Form => words.form,
            Self::FollowThrough => words.follow_through,
            Self::Unreadable => words.unreadable,
            Self::UnreadableWords => words.unreadable_words,
            Self::Predicted | Self::Other => words.other,
        }
    }
}

/// The branches of one step as far as they are known.
pub(super) struct Judging {
    names: StepNames,
    words: &'static Wording,
    title: Option<SmolStr>,
    /// Points for a right answer, and for the right value in the wrong form.
    points: Decimal,
    form_points: Option<Decimal>,
    /// What the text as typed must match, where a form is asked for.
    form: Option<String>,
    form_demand: String,
    branches: Vec<Branch>,
    feedback: Vec<ModalFeedback>,
}

impl Judging {
    pub(super) fn new(
        names: StepNames,
        words: &'static Wording,
        title: Option<&str>,
        step: &Step,
        form: Option<String>,
    ) -> Self {
        let points = Decimal::from(step.points);
        let form_points = step.accept.form.credit.of(step.points);
        Self {
            names,
            words,
            title: title.map(SmolStr::new),
            points,
            form_points: (form_points > 0).then(|| Decimal::from(form_points)),
            form,
            form_demand: step.accept.explained(words.language),
            branches: Vec::new(),
            feedback: Vec::new(),
        }
    }

    /// A verdict without points.
    pub(super) fn found(&mut self, verdict: Verdict, test: Expression) {
        let rules = self.rules(verdict, None);
        self.branches.push(Branch { test, rules });
    }

    /// A right value: full points in the form asked for, otherwise what that form's credit says.
    pub(super) fn right(&mut self, verdict: Verdict, test: Expression) {
        let full = self.rules(verdict, Some(self.points));
        let rules = match self.form.clone() {
            None => full,
            Some(pattern) => {
                let text = Box::new(Expression::variable(&self.names.raw));
                let matches = Expression::PatternMatch { pattern, text };
                // An engine that does not keep the text as typed cannot judge its form; the value is right all the same.
                let test = Expression::Or(vec![Expression::is_null(&self.names.raw), matches]);
                let in_form = Branch { test, rules: full };
                vec![Rule::Condition {
                    branches: vec![in_form],
                    otherwise: self.rules(Verdict::Form, self.form_points),
                }]
            }
        };
        self.branches.push(Branch { test, rules });
    }

    /// The right value in another form than asked for, where the test itself tells: what the form's credit says.
    pub(super) fn in_other_form(&mut self, test: Expression) {
        let rules = self.rules(Verdict::Form, self.form_points);
        self.branches.push(Branch { test, rules });
    }

    /// A wrong answer that misconceptions lead to. The feedback says every one's sentence.
    pub(super) fn predicted(
        &mut self,
        ids: &[&'static str],
        test: Expression,
    ) -> Result<(), IdentifierError> {
        let identifier = Identifier::new(&ids.join("."))?;
        let known = ids.iter().filter_map(|id| misconceptions::find(id));
        let content = known.map(|misconception| misconception.pupil(self.words.language));
        let content = content.map(|sentence| Block::text(SmolStr::new_static(sentence))).collect();
        let rules = vec![Rule::set_identifier(&self.names.feedback, &identifier)];
        self.tell(identifier, content);
        self.branches.push(Branch { test, rules });
        Ok(())
    }

    /// Wrong answers of which only the platform knows what they are and which are the same: all that a response is
    /// consistent with is gathered in `consistent`, and each says its sentence.
    pub(super) fn consistent(
        &mut self,
        consistent: &Identifier,
        each: Vec<(Identifier, Vec<Block>, Expression)>,
    ) {
        let gathered = |identifier: &Identifier| {
            let all = vec![Expression::variable(consistent), Expression::identifier(identifier)];
            vec![Rule::SetOutcomeValue(consistent.clone(), Expression::Multiple(all))]
        };
        let mut rules = vec![Rule::set_identifier(&self.names.feedback, &Verdict::Predicted.identifier())];
        rules.extend(each.iter().map(|(identifier, _, test)| Rule::Condition {
            branches: vec![Branch { test: test.clone(), rules: gathered(identifier) }],
            otherwise: Vec::new(),
        }));
        let test = Expression::any(each.iter().map(|(.., test)| test.clone()).collect());
        if !each.is_empty() {
            self.branches.push(Branch { test, rules });
        }
        for (identifier, content, _) in each {
            let known = |one: &ModalFeedback| one.outcome == *consistent && one.identifier == identifier;
            if !self.feedback.iter().any(known) {
                let (outcome, title) = (consistent.clone(), self.title.clone());
                self.feedback.push(ModalFeedback { outcome, identifier, title, content });
            }
        }
    }

    /// Puts the condition and the feedback into the item; what no branch has caught is not right.
    pub(super) fn finish(mut self, item: &mut AssessmentItem) {
        let otherwise = self.rules(Verdict::Other, None);
        item.processing.push(Rule::Condition { branches: self.branches, otherwise });
        item.feedback.extend(self.feedback);
    }

    fn rules(&mut self, verdict: Verdict, points: Option<Decimal>) -> Vec<Rule> {
        let identifier = verdict.identifier();
        let mut content = vec![Block::text(SmolStr::new_static(verdict.sentence(self.words)))];
        if verdict == Verdict::Form && !self.form_demand.is_empty() {
            content.push(Block::text(self.form_demand.clone()));
        }
        let score = points.map(|points| Rule::set_float(&self.names.score, points));
        let rules =
            score.into_iter().chain([Rule::set_identifier(&self.names.feedback, &identifier)]).collect();
        self.tell(identifier, content);
        rules
    }

    /// Adds feedback, once for each identifier: two predicted answers may come from the same misconception.
    fn tell(&mut self, identifier: Identifier, content: Vec<Block>) {
        if self.feedback.iter().all(|known| known.identifier != identifier) {
            let outcome = self.names.feedback.clone();
            self.feedback.push(ModalFeedback { outcome, identifier, title: self.title.clone(), content });
        }
    }
}
