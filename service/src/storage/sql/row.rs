//! Reading columns into our own types, and turning database errors into ours.

use jiff::Timestamp;
use serde::de::DeserializeOwned;

use super::connection::{Row, SqlError, SqlResult, unreadable};
use super::postgres::is_passing;
use super::sqlite::is_full;
use crate::storage::StorageError;

/// A database error as ours.
#[expect(clippy::needless_pass_by_value, reason = "the shape that map_err asks for")]
pub(super) fn failed(error: SqlError) -> StorageError {
    if is_full(&error) || super::postgres::is_full(&error) {
        StorageError::Full(error.to_string())
    } else if is_passing(&error) {
        StorageError::Unavailable(error.to_string())
    } else {
        StorageError::Database(error.to_string())
    }
}

/// Milliseconds since 1970, as times are stored.
pub(super) fn ms(time: Timestamp) -> i64 {
    time.as_millisecond()
}

/// A stored time.
pub(super) fn time(row: &Row<'_>, column: &'static str) -> SqlResult<Timestamp> {
    Ok(crate::clock::whole_milliseconds(row.get(column)?))
}

/// A stored count.
pub(super) fn count(row: &Row<'_>, column: &'static str) -> SqlResult<u32> {
    row.get(column)
}

/// A stored value that has to be parsed.
pub(super) fn parsed<T>(row: &Row<'_>, column: &'static str) -> SqlResult<T>
where
    T: std::str::FromStr,
    T::Err: std::fmt::Display,
{
    let text: String = row.get(column)?;
    text.parse().map_err(|error| unreadable(&column, error))
}

/// The same where there may be none.
pub(super) fn parsed_if_any<T>(row: &Row<'_>, column: &'static str) -> SqlResult<Option<T>>
where
    T: std::str::FromStr,
    T::Err: std::fmt::Display,
{
    let text: Option<String> = row.get(column)?;
    text.map(|text| text.parse().map_err(|error| unreadable(&column, error))).transpose()
}

/// A stored JSON value.
pub(super) fn json<T: DeserializeOwned>(row: &Row<'_>, column: &'static str) -> SqlResult<T> {
    let text: String = row.get(column)?;
    serde_json::from_str(&text).map_err(|error| unreadable(&column, error))
}

/// A value as stored JSON.
pub(super) fn to_json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string(value)
        .expect("records have text keys and no custom serialisation, so they serialise")
}
