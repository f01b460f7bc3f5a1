//! Work in the background. A job is running as long as its process lives; only that process writes to it.

use jiff::Timestamp;

use super::audit;
use super::connection::{Connection, OptionalExtension, Row, SqlResult, params, unreadable};
use super::row::{failed, json, ms, time, to_json};
use crate::storage::{Action, Change, Job, JobOutcome, JobState, NewJob, StorageError, Subject};

/// Bytes of all files together; the oldest go first.
const BYTES_MOST: i64 = 512 * 1024 * 1024;

/// Begins a job, unless `most` of that owner are running. Of those that ended the oldest make room.
pub(super) fn begin(
    c: &Connection,
    process: &str,
    job: &NewJob,
    most: usize,
    change: &Change,
) -> Result<bool, StorageError> {
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    let running: i64 = c
        .query_row(
            "SELECT count(*) AS number FROM jobs WHERE owner = ?1 AND state = 'running'",
            [&job.owner],
            |row| row.get("number"),
        )
        .map_err(failed)?;
    if running >= most {
        return Ok(false);
    }
    c.execute(
        "DELETE FROM jobs WHERE state <> 'running' AND id IN (
            SELECT id FROM (
                SELECT id, row_number() OVER (ORDER BY CASE state WHEN 'running' THEN 0 ELSE 1 END, started_at DESC, id)
                    AS place
                FROM jobs WHERE owner = ?1) AS theirs
            WHERE place >= ?2)",
        params![job.owner, most],
    )
    .map_err(failed)?;
    c.execute(
        "INSERT INTO jobs (id, owner, title, process, state, started_at) VALUES (?1, ?2, ?3, ?4, 'running', ?5)",
        params![job.id, job.owner, job.title, process, ms(change.at)],
    )
    .map_err(failed)?;
    audit::note(c, change, Action::JobBegun, &Subject::default(), &format!("job {}: {}", job.id, job.title))?;
    Ok(true)
}

/// Notes how far a job is. False when it is not running any more.
pub(super) fn progress(
    c: &Connection,
    process: &str,
    id: &str,
    done: u64,
    parts: u64,
) -> Result<bool, StorageError> {
    let number = |number: u64| i64::try_from(number).unwrap_or(i64::MAX);
    c.execute(
        "UPDATE jobs SET parts_done = ?3, parts = ?4 WHERE id = ?1 AND process = ?2 AND state = 'running'",
        params![id, process, number(done), number(parts)],
    )
    .map(|changed| changed > 0)
    .map_err(failed)
}

/// Adds a piece of the file. False when the job is not running any more.
pub(super) fn add_piece(
    c: &Connection,
    process: &str,
    id: &str,
    place: usize,
    bytes: &[u8],
) -> Result<bool, StorageError> {
    let place = i64::try_from(place).unwrap_or(i64::MAX);
    c.execute(
        "INSERT INTO job_pieces (job, place, bytes)
         SELECT id, CAST(?3 AS BIGINT), ?4 FROM jobs WHERE id = ?1 AND process = ?2 AND state = 'running'",
        params![id, process, place, bytes],
    )
    .map(|added| added > 0)
    .map_err(failed)
}

/// Ends a job. False when it is not running any more; then nothing is kept.
pub(super) fn end(
    c: &Connection,
    process: &str,
    id: &str,
    result: &Result<JobOutcome, String>,
    at: Timestamp,
) -> Result<bool, StorageError> {
    let (state, outcome) = match result {
        Ok(outcome) => ("done", to_json(outcome)),
        Err(problem) => ("failed", to_json(problem)),
    };
    let bytes = result.as_ref().ok().and_then(|outcome| outcome.file.as_ref()).map_or(0, |file| file.length);
    let ended = c
        .execute(
            "UPDATE jobs SET state = ?3, outcome = ?4, ended_at = ?5, bytes = ?6
             WHERE id = ?1 AND process = ?2 AND state = 'running'",
            params![id, process, state, outcome, ms(at), i64::try_from(bytes).unwrap_or(i64::MAX)],
        )
        .map_err(failed)?;
    c.execute(
        "DELETE FROM jobs WHERE id <> ?2 AND id IN (
            SELECT id FROM (
                SELECT id, CAST(sum(bytes) OVER (ORDER BY started_at DESC, id) AS BIGINT) AS together
                FROM jobs WHERE state = 'done') AS done
            WHERE together > ?1)",
        params![BYTES_MOST, id],
    )
    .map_err(failed)?;
    Ok(ended > 0)
}

/// Interrupts the jobs of a process that is gone.
pub(super) fn interrupt(c: &Connection, process: &str, at: Timestamp) -> Result<usize, StorageError> {
    let theirs = "job IN (SELECT id FROM jobs WHERE process = ?1 AND state = 'running')";
    c.execute(&format!("DELETE FROM job_pieces WHERE {theirs}"), [process]).map_err(failed)?;
    c.execute(
        "UPDATE jobs SET state = 'interrupted', ended_at = ?2 WHERE process = ?1 AND state = 'running'",
        params![process, ms(at)],
    )
    .map_err(failed)
}

/// Stops a job. False when there is none of that owner that runs.
pub(super) fn cancel(c: &Connection, owner: &str, id: &str, change: &Change) -> Result<bool, StorageError> {
    let cancelled = c
        .execute(
            "UPDATE jobs SET state = 'cancelled', ended_at = ?3 WHERE id = ?1 AND owner = ?2 AND state = 'running'",
            params![id, owner, ms(change.at)],
        )
        .map_err(failed)?;
    if cancelled == 0 {
        return Ok(false);
    }
    c.execute("DELETE FROM job_pieces WHERE job = ?1", [id]).map_err(failed)?;
    audit::note(c, change, Action::JobCancelled, &Subject::default(), &format!("job {id}"))?;
    Ok(true)
}

/// Forgets a job that has ended. False when there is none of that owner.
pub(super) fn forget(c: &Connection, owner: &str, id: &str, change: &Change) -> Result<bool, StorageError> {
    let forgotten = c
        .execute("DELETE FROM jobs WHERE id = ?1 AND owner = ?2 AND state <> 'running'", params![id, owner])
        .map_err(failed)?;
    if forgotten == 0 {
        return Ok(false);
    }
    audit::note(c, change, Action::JobForgotten, &Subject::default(), &format!("job {id}"))?;
    Ok(true)
}

pub(super) fn find(c: &Connection, owner: &str, id: &str) -> Result<Option<Job>, StorageError> {
    c.query_row("SELECT * FROM jobs WHERE id = ?1 AND owner = ?2", params![id, owner], read)
        .optional()
        .map_err(failed)
}

pub(super) fn all(c: &Connection, owner: &str) -> Result<Vec<Job>, StorageError> {
    c.query("SELECT * FROM jobs WHERE owner = ?1 ORDER BY started_at DESC, id", [owner], read).map_err(failed)
}

pub(super) fn piece(
    c: &Connection,
    owner: &str,
    id: &str,
    place: usize,
) -> Result<Option<Vec<u8>>, StorageError> {
    let place = i64::try_from(place).unwrap_or(i64::MAX);
    c.query_row(
        "SELECT job_pieces.bytes AS bytes FROM job_pieces JOIN jobs ON jobs.id = job
         WHERE job = ?1 AND owner = ?2 AND place = ?3 AND state = 'done'",
        params![id, owner, place],
        |row| row.get("bytes"),
    )
    .optional()
    .map_err(failed)
}

pub(super) fn forget_old(c: &Connection, before: Timestamp) -> Result<usize, StorageError> {
    c.execute("DELETE FROM jobs WHERE ended_at < ?1", [ms(before)]).map_err(failed)
}

fn read(row: &Row<'_>) -> SqlResult<Job> {
    let state = match row.get::<_, String>("state")?.as_str() {
        "running" => {
            let number = |column: &'static str| -> SqlResult<u64> {
                row.get::<_, i64>(column)?.try_into().map_err(|error| unreadable(&column, error))
            };
            let parts = number("parts")?;
            JobState::Running { done: number("parts_done")?, parts: (parts > 0).then_some(parts) }
        }
        "done" => JobState::Done(json(row, "outcome")?),
        "failed" => JobState::Failed(json(row, "outcome")?),
        "cancelled" => JobState::Cancelled,
        // The table's CHECK leaves only this one.
        _ => JobState::Interrupted,
    };
    Ok(Job { id: row.get("id")?, title: row.get("title")?, started_at: time(row, "started_at")?, state })
}
