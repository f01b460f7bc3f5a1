//! Only a proven question becomes an item: whatever is changed in a record, the proof says what.
use qbank::{
    bank,
    decimal::Decimal,
    question::{Answer, Fault, Question},
};

use crate::families;

fn question() -> Question {
    let family = bank::family("money-change").unwrap();
    family.draws("proof", 0, "en-US").next().unwrap().unwrap().question().clone()
}

fn fault_after(change: impl FnOnce(&mut Question)) -> Fault {
    let mut changed = question();
    change(&mut changed);
    changed.sealed().verify().unwrap_err().fault
}

#[test]
fn an_untouched_question_is_proven_again() {
    assert!(question().verify().is_ok());
}

#[test]
fn a_changed_record_no_longer_fits_its_receipt() {
    let mut changed = question();
    changed.stem.push('!');
    let error = changed.verify().unwrap_err();
    assert!(matches!(error.fault, Fault::Receipt(_)));
    assert!(error.to_string().contains(question().id.as_str()), "{error}");
}

#[test]
fn a_wrong_key_is_found_even_under_a_fitting_receipt() {
    let fault = fault_after(|question| question.steps[1].answer = Answer::Text("0.01".into()));
    assert!(matches!(fault, Fault::WrongAnswer { .. }), "{fault}");
}

#[test]
fn a_wrong_prediction_is_found() {
    let fault = fault_after(|question| question.steps[0].predicted[0].answer = Answer::Text("0.01".into()));
    assert!(matches!(fault, Fault::WrongPrediction { .. }), "{fault}");
    let fault = fault_after(|question| question.steps[0].predicted[0].misconception = "no-such".into());
    assert_eq!(fault, Fault::UnknownMisconception("no-such".into()));
    let fault = fault_after(|question| {
        let twice = question.steps[0].predicted[0].clone();
        question.steps[0].predicted.push(twice);
    });
    assert!(matches!(fault, Fault::Indistinct(_)), "{fault}");
}

#[test]
fn a_prediction_that_would_be_marked_right_is_found() {
    let fault = fault_after(|question| {
        question.steps[0].accept.rule =
            qbank::accept::Rule::Absolute { tolerance: "1000".parse::<Decimal>().unwrap() };
    });
    assert!(matches!(fault, Fault::Indistinct(_)), "{fault}");
}

#[test]
fn bad_shapes_are_found() {
    assert_eq!(fault_after(|question| question.id = "1 bad".into()), Fault::BadId);
    assert_eq!(fault_after(|question| question.steps.clear()), Fault::NoStep);
    assert_eq!(fault_after(|question| question.steps[1].id = "cost".into()), Fault::NameTwice("cost".into()));
    for points in [0, 1_001, u32::MAX] {
        assert_eq!(fault_after(|question| question.steps[0].points = points), Fault::Accept, "{points}");
    }
    assert!(matches!(
        fault_after(|question| question.steps[0].expression = "a +".into()),
        Fault::Expression(_)
    ));
    assert!(matches!(
        fault_after(|question| question.steps[0].expression = "a + z".into()),
        Fault::Arithmetic(_)
    ));
    assert!(matches!(
        fault_after(|question| question.steps[0].expression = "a ? b".into()),
        Fault::NoSuchChoice(_)
    ));
}

#[test]
fn a_record_survives_being_written_and_read() {
    for family in families() {
        let item = family.draws("record", 0, "en-US").next().unwrap().unwrap();
        let text = serde_json::to_string(&item).unwrap();
        let read: Question = serde_json::from_str(&text).unwrap();
        assert_eq!(read.verify().as_ref(), Ok(&item));
    }
}

#[test]
fn no_wrong_answer_of_any_kind_is_believed() {
    for family in families() {
        let item = family.draws("tampered", 0, "en-US").next().unwrap().unwrap();
        for (index, step) in item.steps.iter().enumerate() {
            for wrong in &step.predicted {
                let mut question = item.question().clone();
                question.steps[index].answer = wrong.answer.clone();
                let error = question.sealed().verify().unwrap_err();
                assert!(matches!(error.fault, Fault::WrongAnswer { .. }), "{error}");
            }
            if let Some(choice) = step.choices.iter().position(|choice| choice.mistake.is_some()) {
                let mut question = item.question().clone();
                question.steps[index].choices[choice].value = Some("0.01".parse().unwrap());
                let error = question.sealed().verify().unwrap_err();
                assert!(matches!(error.fault, Fault::WrongPrediction { .. }), "{error}");
            }
        }
    }
}
