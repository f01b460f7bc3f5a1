//! All answers of a class as a table for spreadsheets: CSV (RFC 4180), one row a step.
//!
//! Spreadsheets take a cell that begins with `=`, `+`, `-` or `@` for a formula, and what pupils type is theirs to
//! choose. Such a text gets an apostrophe before it, unless it is a plain number: `-2.5` stays as it is.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION};
use actix_web::{HttpResponse, web};
use csv::{Terminator, WriterBuilder};
use qbank::marking::Verdict;

use super::people::name_or_label;
use crate::app::App;
use crate::handlers::answer::PageError;
use crate::handlers::opened_quiz::{OpenedQuiz, best_attempt, recorded_marks};
use crate::session::TeacherSession;
use crate::storage::Attempt;
use crate::texts::ReaderTexts;

/// Names of the columns; they stay the same in every language, for programs that read them.
const COLUMNS: [&str; 15] = [
    "pupil",
    "name",
    "attempt",
    "counts",
    "handed_in",
    "number",
    "question",
    "step",
    "response",
    "verdict",
    "points",
    "max",
    "misconceptions",
    "changed_by_teacher",
    "note",
];

/// What tells spreadsheets that the text is UTF-8.
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();

/// GET: the table, as a file to keep.
pub(crate) async fn download(
    session: TeacherSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let attempts = app.storage.attempts_at(&quiz.placement.id).await?;
    let members = app.storage.members_at(&quiz.placement.id).await?;
    let name = |attempt: &Attempt| {
        name_or_label(texts, members.iter().find(|member| member.user == attempt.user), &attempt.user)
    };
    let table = table(&quiz, &attempts, name)?;
    Ok(HttpResponse::Ok()
        .content_type("text/csv; charset=utf-8; header=present")
        .insert_header((CONTENT_DISPOSITION, "attachment; filename=\"marks.csv\""))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(table))
}

fn table(
    quiz: &OpenedQuiz,
    attempts: &[Attempt],
    name: impl Fn(&Attempt) -> String,
) -> Result<Vec<u8>, PageError> {
    let mut table = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(BYTE_ORDER_MARK.to_vec());
    let failed = |error: csv::Error| PageError::Record(format!("table: {error}"));
    table.write_record(COLUMNS).map_err(failed)?;
    for attempt in attempts {
        let Some(result) = &attempt.result else { continue };
        let of_pupil = attempts.iter().filter(|other| other.user == attempt.user);
        let counts = best_attempt(of_pupil).is_some_and(|best| best.id == attempt.id);
        for (mark, number) in recorded_marks(result, Some(&quiz.pool))?.iter().zip(1..) {
            let number: usize = number;
            for step in &mark.steps {
                let changed = result.overrides.iter().any(|change| change.is_of(&mark.question, &step.id));
                let row = [
                    guarded(attempt.user.as_str()),
                    guarded(&name(attempt)),
                    attempt.number.to_string(),
                    yes_or_no(counts),
                    result.submitted_at.to_string(),
                    number.to_string(),
                    guarded(&mark.question),
                    guarded(&step.id),
                    guarded(&step.response),
                    verdict(step.verdict),
                    step.points.to_string(),
                    step.max.to_string(),
                    step.misconceptions.join(" "),
                    yes_or_no(changed),
                    guarded(&step.note),
                ];
                table.write_record(row).map_err(failed)?;
            }
        }
    }
    table.into_inner().map_err(|error| PageError::Record(format!("table: {error}")))
}

/// The verdict as in mark records.
fn verdict(verdict: Verdict) -> String {
    let name = serde_json::to_value(verdict).ok();
    name.as_ref().and_then(serde_json::Value::as_str).unwrap_or_default().to_owned()
}

fn yes_or_no(is: bool) -> String {
    (if is { "yes" } else { "no" }).to_owned()
}

/// The text so that no spreadsheet works it as a formula.
fn guarded(text: &str) -> String {
    // Full-width forms are folded to the plain signs by some programs; tabs and line ends are stripped before looking.
    let begins = text.trim_start().starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠', '|', '%']);
    let control = text.starts_with(['\t', '\r', '\n']);
    if (begins || control) && !is_number(text) { format!("'{text}") } else { text.to_owned() }
}

/// A sign, digits, and one point or comma with digits.
fn is_number(text: &str) -> bool {
    let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
    let (whole, part) = digits.split_once(['.', ',']).unwrap_or((digits, "0"));
    let all_digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    all_digits(whole) && all_digits(part)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_work_is_guarded_and_numbers_stay() {
        for text in ["-2.5", "+3", "12", "0,75", "3 1/2", "$4.50", ""] {
            assert_eq!(guarded(text), text);
        }
        for text in [
            "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", " =1", "-2.5.1", "-", "＝1+1", "\r\n+x", "-1e5", "|x",
        ] {
            assert_eq!(guarded(text), format!("'{text}"), "{text:?}");
        }
    }
}
