//! Printed sheets.

use super::connection::{Connection, OptionalExtension, Row, SqlResult, params, unreadable};
use super::row::{failed, ms, time};
use super::{attempts, audit};
use crate::paper::SheetCode;
use crate::storage::{
    Action, Announce, Change, PlacementId, SheetBegun, Started, StorageError, StoredSheet, Subject, UserId,
};

pub(super) fn add(c: &Connection, sheets: &[StoredSheet], change: &Change) -> Result<(), StorageError> {
    let Some(first) = sheets.first() else { return Ok(()) };
    let mut insert = c
        .prepare_cached(
            "INSERT INTO sheets (code, placement, user, number, made_at) VALUES (?1, ?2, ?3,
                 (SELECT coalesce(max(number), 0) + 1 FROM sheets WHERE placement = ?2), ?4)",
        )
        .map_err(failed)?;
    for sheet in sheets {
        let user = sheet.user.as_ref().map(UserId::as_str);
        insert
            .execute(params![sheet.code.to_string(), sheet.placement.0, user, ms(sheet.made_at)])
            .map_err(failed)?;
    }
    let subject = Subject { placement: Some(first.placement.clone()), ..Subject::default() };
    audit::note(c, change, Action::SheetsMade, &subject, &format!("{} sheets", sheets.len()))
}

pub(super) fn at_placement(
    c: &Connection,
    placement: &PlacementId,
) -> Result<Vec<StoredSheet>, StorageError> {
    c.prepare_cached("SELECT * FROM sheets WHERE placement = ?1 ORDER BY number")
        .and_then(|mut select| select.query_map([&placement.0], read)?.collect())
        .map_err(failed)
}

pub(super) fn by_code(c: &Connection, code: SheetCode) -> Result<Option<StoredSheet>, StorageError> {
    c.prepare_cached("SELECT * FROM sheets WHERE code = ?1")
        .and_then(|mut select| select.query_row([code.to_string()], read).optional())
        .map_err(failed)
}

pub(super) fn begin(
    c: &Connection,
    placement: &PlacementId,
    code: SheetCode,
    user: &UserId,
    change: &Change,
) -> Result<SheetBegun, StorageError> {
    // Two teachers may type one sheet in for two pupils.
    let select = format!("SELECT code FROM sheets WHERE code = ?1 {}", c.take("sheets"));
    c.query(&select, [code.to_string()], |_| Ok(())).map_err(failed)?;
    let Some(sheet) = by_code(c, code)?.filter(|sheet| sheet.placement == *placement) else {
        return Ok(SheetBegun::NoSheet);
    };
    if sheet.user.as_ref().is_some_and(|its| its != user) {
        return Ok(SheetBegun::Anothers);
    }
    let seed = code.seed();
    let attempt = match attempts::start(c, placement, user, &seed, Announce::Nothing, change.at)? {
        Started::Open(attempt) if attempt.seed == seed => attempt,
        Started::Open(_) => return Ok(SheetBegun::AnotherAttempt),
        Started::UsedUp => return Ok(SheetBegun::UsedUp),
        Started::NoPlacement => return Ok(SheetBegun::NoSheet),
    };
    c.prepare_cached("UPDATE sheets SET user = ?2 WHERE code = ?1")
        .and_then(|mut update| update.execute(params![code.to_string(), user.0]))
        .map_err(failed)?;
    let subject =
        Subject { placement: Some(placement.clone()), user: Some(user.clone()), ..Subject::default() };
    audit::note(c, change, Action::SheetTyped, &subject, &code.to_string())?;
    Ok(SheetBegun::Open(attempt))
}

fn read(row: &Row<'_>) -> SqlResult<StoredSheet> {
    let code: String = row.get("code")?;
    let code = code.parse().map_err(|error: crate::paper::NoCode| unreadable(&"code", error))?;
    Ok(StoredSheet {
        code,
        placement: PlacementId(row.get("placement")?),
        user: row.get::<_, Option<String>>("user")?.map(UserId),
        made_at: time(row, "made_at")?,
    })
}
