//! Pools and placements.

use std::collections::BTreeMap;

use jiff::Timestamp;
use url::Url;

use super::audit;
use super::connection::{Connection, OptionalExtension, Row, SqlResult, Turn, params};
use super::row::{count, failed, json, ms, parsed_if_any, time, to_json};
use crate::entropy;
use crate::storage::{
    Action, Change, ContextId, DeploymentId, GradeEndpoint, Layout, LinkKey, NewPlacement, Placement,
    PlacementId, PoolId, PoolSummary, PutPool, RegistrationId, ResourceLinkId, StorageError, StoredPool,
    Subject,
};
use crate::windows::{Edge, Said, Windows};

pub(super) fn put_pool(c: &Connection, new: &StoredPool) -> Result<PutPool, StorageError> {
    // Whoever places it at the same time waits, or is waited for.
    let select = format!("SELECT id FROM pools WHERE id = ?1 {}", c.take("pools"));
    c.query(&select, [&new.id.0], |_| Ok(())).map_err(failed)?;
    let old = pool(c, &new.id)?;
    if old.as_ref().is_some_and(|old| old.json != new.json) && is_placed(c, &new.id)? {
        return Ok(PutPool::InUse);
    }
    c.execute(
        "INSERT INTO pools (id, title, item_count, json) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT (id) DO UPDATE SET title = excluded.title, item_count = excluded.item_count, json = excluded.json",
        params![new.id.0, new.title, new.item_count, new.json],
    )
    .map_err(failed)?;
    Ok(if old.is_some() { PutPool::Replaced } else { PutPool::New })
}

fn is_placed(c: &Connection, id: &PoolId) -> Result<bool, StorageError> {
    c.query_row("SELECT EXISTS (SELECT 1 FROM placements WHERE pool = ?1)", [&id.0], |row| row.get(0))
        .map_err(failed)
}

pub(super) fn pool(c: &Connection, id: &PoolId) -> Result<Option<StoredPool>, StorageError> {
    c.prepare_cached("SELECT * FROM pools WHERE id = ?1")
        .and_then(|mut select| {
            select
                .query_row([&id.0], |row| {
                    Ok(StoredPool {
                        id: PoolId(row.get("id")?),
                        title: row.get("title")?,
                        item_count: count(row, "item_count")?,
                        json: row.get("json")?,
                    })
                })
                .optional()
        })
        .map_err(failed)
}

pub(super) fn pools(c: &Connection) -> Result<Vec<PoolSummary>, StorageError> {
    let mut statement =
        c.prepare_cached("SELECT id, title, item_count FROM pools ORDER BY title, id").map_err(failed)?;
    let rows = statement
        .query_map([], |row| {
            Ok(PoolSummary {
                id: PoolId(row.get("id")?),
                title: row.get("title")?,
                item_count: count(row, "item_count")?,
            })
        })
        .map_err(failed)?;
    rows.collect::<Result<_, _>>().map_err(failed)
}

/// The placement of a resource link: made from `new` at the first launch; later launches refresh title, context and grade
/// endpoint, and keep the pool, the number of questions and of attempts that pupils started with.
pub(super) fn put_placement(c: &Connection, new: &NewPlacement) -> Result<Placement, StorageError> {
    let grades = new.grades.as_ref();
    let id: String = c
        .prepare_cached(
            // A line item that we found stays when a later launch names none.
            "INSERT INTO placements (id, registration, deployment, resource_link, context, title, pool,
                question_count, attempts_allowed, line_item, line_items, grade_scopes, created_at, policy,
                resource_id, windows, closes_at, layout)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18)
             ON CONFLICT (registration, deployment, resource_link) DO UPDATE SET
                context = excluded.context, title = excluded.title,
                line_item = coalesce(excluded.line_item, placements.line_item),
                line_items = excluded.line_items, grade_scopes = excluded.grade_scopes
             RETURNING id",
        )
        .and_then(|mut insert| {
            insert.query_row(
                params![
                    entropy::identifier(),
                    new.link.registration.0,
                    new.link.deployment.0,
                    new.link.resource_link.0,
                    new.context.as_ref().map(ContextId::as_str),
                    new.title,
                    new.pool.0,
                    new.question_count,
                    new.attempts_allowed,
                    grades.and_then(|g| g.line_item.as_ref()).map(Url::as_str),
                    grades.and_then(|g| g.line_items.as_ref()).map(Url::as_str),
                    grades.map(|g| to_json(&g.scopes)),
                    ms(new.created_at),
                    to_json(&new.policy),
                    new.resource_id,
                    to_json(&new.windows),
                    new.windows.closes_at().map(ms),
                    new.layout.name()
                ],
                |row| row.get(0),
            )
        })
        .map_err(failed)?;
    placement(c, &PlacementId(id))?.ok_or_else(|| StorageError::Database("placement vanished".into()))
}

pub(super) fn placement(c: &Connection, id: &PlacementId) -> Result<Option<Placement>, StorageError> {
    c.query_row(PLACEMENT, [&id.0], read).optional().map_err(failed)
}

pub(super) const PLACEMENT: &str = "SELECT * FROM placements WHERE id = ?1";

pub(super) fn placement_of(c: &Connection, link: &LinkKey) -> Result<Option<Placement>, StorageError> {
    c.prepare_cached(
        "SELECT * FROM placements WHERE registration = ?1 AND deployment = ?2 AND resource_link = ?3",
    )
    .and_then(|mut select| {
        select
            .query_row(params![link.registration.0, link.deployment.0, link.resource_link.0], read)
            .optional()
    })
    .map_err(failed)
}

pub(super) fn placements(c: &Connection) -> Result<Vec<Placement>, StorageError> {
    let mut statement =
        c.prepare_cached("SELECT * FROM placements ORDER BY created_at DESC, id").map_err(failed)?;
    let rows = statement.query_map([], read).map_err(failed)?;
    rows.collect::<Result<_, _>>().map_err(failed)
}

pub(super) fn neighbours(c: &Connection, of: &Placement) -> Result<Vec<Placement>, StorageError> {
    let link = &of.quiz.link;
    c.prepare_cached(
        "SELECT * FROM placements
         WHERE registration = ?1 AND deployment = ?2 AND context IS NOT DISTINCT FROM ?3 AND id <> ?4 ORDER BY id",
    )
    .and_then(|mut select| {
        let context = of.quiz.context.as_ref().map(ContextId::as_str);
        select.query_map(params![link.registration.0, link.deployment.0, context, of.id.0], read)?.collect()
    })
    .map_err(failed)
}

pub(super) fn set_line_item(c: &Connection, id: &PlacementId, line_item: &Url) -> Result<(), StorageError> {
    c.execute("UPDATE placements SET line_item = ?2 WHERE id = ?1", params![id.0, line_item.as_str()])
        .map_err(failed)?;
    Ok(())
}

/// Takes in what a launch says of a placement's windows.
pub(super) fn refresh_windows(
    c: &Connection,
    known: &Placement,
    said: &BTreeMap<Edge, Said>,
) -> Result<(), StorageError> {
    if known.quiz.windows.refreshed(said) == known.quiz.windows {
        return Ok(());
    }
    // A teacher may change them at the same time.
    c.turn(&Turn::Settings).map_err(failed)?;
    let Some(known) = placement(c, &known.id)? else { return Ok(()) };
    put_windows(c, &known.id, &known.quiz.windows.refreshed(said))
}

pub(super) fn set_windows(
    c: &Connection,
    id: &PlacementId,
    windows: &Windows,
    change: &Change,
) -> Result<(), StorageError> {
    put_windows(c, id, windows)?;
    let told = |time: Option<Timestamp>| time.map_or_else(|| "any time".to_owned(), |time| time.to_string());
    let detail = format!("open from {} until {}", told(windows.opens_at()), told(windows.closes_at()));
    let subject = Subject { placement: Some(id.clone()), ..Subject::default() };
    audit::note(c, change, Action::TimesChanged, &subject, &detail)
}

fn put_windows(c: &Connection, id: &PlacementId, windows: &Windows) -> Result<(), StorageError> {
    c.execute(
        "UPDATE placements SET windows = ?2, closes_at = ?3 WHERE id = ?1",
        params![id.0, to_json(windows), windows.closes_at().map(ms)],
    )
    .map_err(failed)?;
    Ok(())
}

pub(super) fn read(row: &Row<'_>) -> SqlResult<Placement> {
    Ok(Placement {
        id: PlacementId(row.get("id")?),
        quiz: NewPlacement {
            link: LinkKey {
                registration: RegistrationId(row.get("registration")?),
                deployment: DeploymentId(row.get("deployment")?),
                resource_link: ResourceLinkId(row.get("resource_link")?),
            },
            context: row.get::<_, Option<String>>("context")?.map(ContextId),
            title: row.get("title")?,
            pool: PoolId(row.get("pool")?),
            question_count: count(row, "question_count")?,
            attempts_allowed: count(row, "attempts_allowed")?,
            grades: read_grades(row)?,
            created_at: time(row, "created_at")?,
            policy: json(row, "policy")?,
            resource_id: row.get("resource_id")?,
            windows: json(row, "windows")?,
            layout: Layout::named(&row.get::<_, String>("layout")?).unwrap_or_default(),
        },
    })
}

fn read_grades(row: &Row<'_>) -> SqlResult<Option<GradeEndpoint>> {
    if row.get::<_, Option<String>>("grade_scopes")?.is_none() {
        return Ok(None);
    }
    Ok(Some(GradeEndpoint {
        line_item: parsed_if_any(row, "line_item")?,
        line_items: parsed_if_any(row, "line_items")?,
        scopes: json(row, "grade_scopes")?,
    }))
}
