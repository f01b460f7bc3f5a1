//! Sheets are made, and typed in by code.

use super::*;
use crate::paper::SheetCode;
use crate::storage::{Action, AuditQuery, StoredSheet};

/// A class list of `p-07` and `p-08`, and so many sheets without a name.
async fn school_with_sheets(count: u32) -> (School, Vec<StoredSheet>) {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    for user in ["p-07", "p-08"] {
        school.launch(member(user, Part::Pupil)).await;
    }
    let teacher = school.teacher().await;
    let wish = fields(&[("for", "count"), ("count", &count.to_string())]);
    assert_eq!(teacher.post_form(&paper(&school), &wish).await.status, StatusCode::SEE_OTHER);
    let sheets = school.sheets().await;
    assert_eq!(sheets.len(), count as usize);
    (school, sheets)
}

fn paper(school: &School) -> String {
    format!("/class/{}/paper", school.placement.id)
}

fn fields(fields: &[(&str, &str)]) -> Vec<(String, String)> {
    fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
}

impl School {
    async fn sheets(&self) -> Vec<StoredSheet> {
        self.app.storage.sheets_at(&self.placement.id).await.unwrap()
    }

    /// How many sheets were typed in, by the trail.
    async fn noted(&self) -> usize {
        let query = AuditQuery { registration: None, placement: None, before: None, limit: 100 };
        let trail = self.app.storage.audit(&query).await.unwrap();
        trail.iter().filter(|entry| entry.action == Action::SheetTyped).count()
    }

    /// Types a sheet in for a pupil, all of it right.
    async fn type_in(&self, sheet: &StoredSheet, pupil: &str) -> Answer {
        let drawn = form::draw(&self.pool, self.placement.quiz.question_count as usize, &sheet.code.seed());
        let mut typed = fields(&[("code", &sheet.code.to_string()), ("pupil", pupil)]);
        for (item, number) in drawn.into_iter().zip(1..) {
            let steps = item.steps.iter();
            typed.extend(steps.map(|step| (format!("q{number}.{}", step.id), right(item, &step.id))));
        }
        self.teacher().await.post_form(&format!("{}/enter", paper(self)), &typed).await
    }
}

#[actix_web::test]
async fn a_code_that_leads_to_no_sheet_of_the_quiz_is_told_why() {
    let (school, sheets) = school_with_sheets(1).await;
    let teacher = school.teacher().await;
    let code = sheets[0].code.to_string();
    let last = if code.ends_with('7') { "8" } else { "7" };
    let wrong = format!("{}{last}", &code[..code.len() - 1]);
    for (typed, told) in [
        (wrong.as_str(), "one of its signs is wrong"),
        ("K7QD", "eight letters and digits"),
        (&SheetCode::of("of no quiz").to_string(), "No sheet of this quiz"),
    ] {
        let answer = teacher.get(&format!("{}/enter?code={typed}", paper(&school))).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{typed}");
        assert!(answer.body.contains(told), "{typed}: {}", answer.body);
    }
    let answer = teacher.get(&format!("{}/enter?code={}", paper(&school), code.to_lowercase())).await;
    assert!(
        answer.status == StatusCode::OK && answer.body.contains("Whose sheet is this?"),
        "{}",
        answer.body
    );
}

#[actix_web::test]
async fn a_sheet_becomes_an_attempt_of_its_pupil_once() {
    let (school, sheets) = school_with_sheets(1).await;
    let nobody = school.type_in(&sheets[0], "").await;
    assert!(nobody.body.contains("Please choose whose sheet this is."), "{}", nobody.body);
    for again in [false, true] {
        let answer = school.type_in(&sheets[0], "p-07").await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "again: {again}, {}", answer.body);
        let attempts = school.attempts("p-07").await;
        assert_eq!(attempts.len(), 1, "again: {again}");
        let result = attempts[0].result.as_ref().unwrap();
        assert_eq!(result.points, result.maximum);
        assert!(answer.location.ends_with(attempts[0].id.as_str()), "{}", answer.location);
    }
    assert_eq!(school.sheets().await[0].user, Some("p-07".into()));
}

#[actix_web::test]
async fn a_sheet_that_could_not_be_typed_in_still_belongs_to_nobody() {
    let (school, sheets) = school_with_sheets(3).await;
    school.pupil("p-08").await.begin("p-08").await;
    for sheet in &sheets[..2] {
        assert_eq!(school.type_in(sheet, "p-07").await.status, StatusCode::SEE_OTHER);
    }
    for (pupil, told) in [("p-07", "has used all attempts"), ("p-08", "has begun the quiz on the screen")] {
        let refused = school.type_in(&sheets[2], pupil).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{pupil}");
        assert!(refused.body.contains(told), "{}", refused.body);
        assert!(refused.body.contains("name=\"pupil\""), "another pupil can be chosen: {}", refused.body);
        assert_eq!(school.sheets().await[2].user, None, "{pupil}");
        assert_eq!(school.noted().await, 2, "{pupil}: the trail tells what was typed in, and no more");
    }
}
