-- Work in the background: any process shows it, the one that began it works on it.
CREATE TABLE jobs (
    id TEXT NOT NULL PRIMARY KEY,
    owner TEXT NOT NULL,
    title TEXT NOT NULL,
    process TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('running', 'done', 'failed', 'interrupted', 'cancelled')),
    started_at INTEGER NOT NULL,
    ended_at INTEGER,
    parts_done INTEGER NOT NULL DEFAULT 0,
    parts INTEGER NOT NULL DEFAULT 0,
    bytes INTEGER NOT NULL DEFAULT 0,
    -- What it came to, or why to nothing, as JSON.
    outcome TEXT,
    CHECK ((state = 'running') = (ended_at IS NULL))
) STRICT;
CREATE INDEX jobs_by_owner ON jobs (owner, started_at);
CREATE INDEX jobs_by_process ON jobs (process) WHERE state = 'running';

-- The file that a job made, in pieces.
CREATE TABLE job_pieces (
    job TEXT NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    place INTEGER NOT NULL,
    bytes BLOB NOT NULL,
    PRIMARY KEY (job, place)
) STRICT;
