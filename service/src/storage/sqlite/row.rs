//! Reading columns into our own types, and turning database errors into ours.

use jiff::Timestamp;
use rusqlite::Row;
use serde::de::DeserializeOwned;

use crate::storage::StorageError;

/// A database error as ours.
#[expect(clippy::needless_pass_by_value, reason = "the shape that map_err asks for")]
pub(super) fn failed(error: rusqlite::Error) -> StorageError {
    StorageError::Database(error.to_string())
}

/// Milliseconds since 1970, as times are stored.
pub(super) fn ms(time: Timestamp) -> i64 {
    time.as_millisecond()
}

/// A stored time.
pub(super) fn time(row: &Row<'_>, column: &str) -> rusqlite::Result<Timestamp> {
    Ok(crate::clock::whole_milliseconds(row.get(column)?))
}

/// A stored count.
pub(super) fn count(row: &Row<'_>, column: &str) -> rusqlite::Result<u32> {
    row.get(column)
}

/// A stored value that has to be parsed; `what` names it in the error.
pub(super) fn parsed<T>(row: &Row<'_>, column: &str) -> rusqlite::Result<T>
where
    T: std::str::FromStr,
    T::Err: std::error::Error + Send + Sync + 'static,
{
    let text: String = row.get(column)?;
    text.parse().map_err(|error| unreadable(column, error))
}

/// A stored JSON value.
pub(super) fn json<T: DeserializeOwned>(row: &Row<'_>, column: &str) -> rusqlite::Result<T> {
    let text: String = row.get(column)?;
    serde_json::from_str(&text).map_err(|error| unreadable(column, error))
}

/// A value as stored JSON.
pub(super) fn to_json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string(value)
        .expect("records have text keys and no custom serialisation, so they serialise")
}

fn unreadable(column: &str, error: impl std::error::Error + Send + Sync + 'static) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(
        0,
        rusqlite::types::Type::Text,
        format!("column {column}: {error}").into(),
    )
}
