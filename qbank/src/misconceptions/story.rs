//! Multi-step stories: the right arithmetic on the wrong plan.
use super::{Misconception, Rule};
use crate::expression::Expression;

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "story-stops-early",
        name: "stops after the first step",
        source: "common practice",
        pupil: "That is a step on the way; read the question again: what is still to be worked out?",
        teacher: "answers consistent with giving an intermediate result as the answer",
        next: "Let the pupil say in words what the number found stands for.",
        rule: Rule::Instead(first_step),
    },
    Misconception {
        id: "story-operation-from-keyword",
        name: "operation chosen from a single word",
        source: "consistency effect, Lewis and Mayer 1987 (from memory)",
        pupil: "Draw the story: who has more? Then decide whether to add or to subtract.",
        teacher: "answers consistent with choosing the operation from one word such as 'more' or 'less'",
        next: "Retell the story with a bar for each person.",
        rule: Rule::Stated,
    },
];

/// The one part that itself has to be worked out before the whole can be.
fn first_step(expression: &Expression) -> Option<Expression> {
    let Expression::Binary(_, left, right) = expression else {
        return None;
    };
    let worked = |part: &Expression| matches!(part, Expression::Binary(..));
    match (worked(left), worked(right)) {
        (true, false) => Some((**left).clone()),
        (false, true) => Some((**right).clone()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_example() {
        check(&[("story-stops-early", "10 - 3 * 1.25", "3.75"), ("story-stops-early", "4.6 + 0.75", "")]);
    }
}
