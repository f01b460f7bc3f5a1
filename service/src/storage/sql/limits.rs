//! How many requests came from whom, over all processes.

use jiff::Timestamp;

use super::connection::{Connection, ToValue, Value};
use super::row::{failed, ms, time};
use crate::storage::{RequestCount, StorageError};

/// Rows of one statement. Two sizes of statement are enough, so that few have to be kept prepared.
const AT_ONCE: usize = 64;

/// Adds to the counts; returns the totals of the same senders and spans, in the order of the store.
pub(super) fn add(c: &Connection, counts: &[RequestCount]) -> Result<Vec<RequestCount>, StorageError> {
    // Always in the same order, so that two processes do not wait for each other.
    let mut sorted: Vec<&RequestCount> = counts.iter().collect();
    sorted.sort();
    let (groups, rest) = sorted.as_chunks::<AT_ONCE>();
    let mut totals = Vec::with_capacity(counts.len());
    for group in groups {
        totals.extend(add_group(c, group)?);
    }
    for count in rest {
        totals.extend(add_group(c, std::slice::from_ref(count))?);
    }
    Ok(totals)
}

fn add_group(c: &Connection, group: &[&RequestCount]) -> Result<Vec<RequestCount>, StorageError> {
    let row = |place: usize| format!("(?{}, ?{}, ?{})", 3 * place + 1, 3 * place + 2, 3 * place + 3);
    let rows: Vec<String> = (0..group.len()).map(row).collect();
    let sql = format!(
        "INSERT INTO request_counts (sender, began_at, number) VALUES {}
         ON CONFLICT (sender, began_at) DO UPDATE SET number = request_counts.number + excluded.number
         RETURNING sender, began_at, number",
        rows.join(", ")
    );
    let values: Vec<Value> = group
        .iter()
        .flat_map(|count| {
            let number = i64::try_from(count.number).unwrap_or(i64::MAX);
            [count.sender.to_value(), ms(count.began_at).to_value(), number.to_value()]
        })
        .collect();
    c.query(&sql, values, |row| {
        Ok(RequestCount {
            sender: row.get("sender")?,
            began_at: time(row, "began_at")?,
            number: row.get::<_, i64>("number")?.try_into().unwrap_or(0),
        })
    })
    .map_err(failed)
}

pub(super) fn forget(c: &Connection, before: Timestamp) -> Result<usize, StorageError> {
    c.execute("DELETE FROM request_counts WHERE began_at < ?1", [ms(before)]).map_err(failed)
}
