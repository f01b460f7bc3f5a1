//! Reading results back (AGS 2.0, 3.3): what the gradebook shows, teachers' own marks included.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::Deserialize;
use serde_json::Number;
use url::Url;

use super::paging::List;
use super::{GradeError, GradeService, below};
use crate::lti::vocabulary as v;
use crate::storage::{GradebookMark, Placement, Registration, UserId};

/// The marks of a column, by pupil; who has none is not in it.
pub(crate) type Results = BTreeMap<UserId, GradebookMark>;

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
struct ResultRecord {
    user_id: UserId,
    result_score: Option<Number>,
    result_maximum: Option<Number>,
}

impl GradeService {
    /// What the gradebook shows in a column: of all pupils, or of one.
    pub(crate) async fn results(
        &self,
        registration: &Registration,
        placement: &Placement,
        line_item: &Url,
        user: Option<&UserId>,
        now: Timestamp,
    ) -> Result<Results, GradeError> {
        let mut first = below(line_item, "results");
        if let Some(user) = user {
            first.query_pairs_mut().append_pair("user_id", user.as_str());
        }
        let list = List { first, scope: v::SCOPE_RESULT, media_type: v::MEDIA_RESULTS, of: "results" };
        let records: Vec<ResultRecord> = self.list(registration, placement, &list, now).await?;
        let mut results = Results::new();
        for record in records {
            if let Some(mark) = mark(&record)? {
                results.insert(record.user_id, mark);
            }
        }
        Ok(results)
    }
}

/// The mark of a record; its maximum is 1 unless it says otherwise.
fn mark(record: &ResultRecord) -> Result<Option<GradebookMark>, GradeError> {
    let Some(points) = &record.result_score else { return Ok(None) };
    let points = decimal(points);
    let maximum = record.result_maximum.as_ref().map_or(Some(Decimal::ONE), decimal);
    match (points, maximum) {
        (Some(points), Some(maximum)) if maximum > Decimal::ZERO => {
            Ok(Some(GradebookMark { points, maximum }))
        }
        _ => Err(GradeError::permanent("the platform's list of results has a mark that is no number")),
    }
}

/// The number as it was written, not as a binary fraction near it.
fn decimal(number: &Number) -> Option<Decimal> {
    let text = number.to_string();
    text.parse().ok().or_else(|| Decimal::from_scientific(&text).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(json: &str) -> Result<Option<String>, GradeError> {
        let record: ResultRecord = serde_json::from_str(json).unwrap();
        Ok(mark(&record)?.map(|mark| mark.to_string()))
    }

    #[test]
    fn a_mark_is_read_exactly_and_its_maximum_is_1_by_default() {
        let shown = |text: &str| Ok(Some(text.to_owned()));
        assert_eq!(read(r#"{"userId": "u", "resultScore": 0.83}"#), shown("0.83 of 1"));
        assert_eq!(read(r#"{"userId": "u", "resultScore": 7, "resultMaximum": 10.0}"#), shown("7 of 10"));
        assert_eq!(read(r#"{"userId": "u", "resultMaximum": 10}"#), Ok(None));
        assert!(read(r#"{"userId": "u", "resultScore": 7, "resultMaximum": 0}"#).is_err());
    }
}
