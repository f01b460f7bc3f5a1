-- Each placed link has a column of its own in the gradebook; links placed before this named it by their pool.
ALTER TABLE placements ADD COLUMN resource_id TEXT NOT NULL DEFAULT '';
UPDATE placements SET resource_id = pool;
-- JSON of windows::Windows, and the end that follows from it.
ALTER TABLE placements ADD COLUMN windows TEXT NOT NULL DEFAULT '{}';
ALTER TABLE placements ADD COLUMN closes_at INTEGER;
CREATE INDEX placements_by_end ON placements (closes_at) WHERE closes_at IS NOT NULL;

-- Where the platform tells who is in the course of a placement, and how far we have read.
CREATE TABLE rosters (
    placement TEXT NOT NULL PRIMARY KEY REFERENCES placements (id) ON DELETE CASCADE,
    url TEXT NOT NULL,
    -- Tells what changed since read_at.
    differences TEXT,
    read_at INTEGER,
    asked_at INTEGER,
    problem TEXT
) STRICT, WITHOUT ROWID;

-- Who is in the course of a placement, by its launches and by the platform's list.
CREATE TABLE members (
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    part TEXT NOT NULL CHECK (part IN ('pupil', 'teacher', 'other', 'preview')),
    status TEXT NOT NULL CHECK (status IN ('active', 'inactive', 'deleted')),
    -- Only where the service is set to keep names.
    name TEXT,
    -- Whether the platform's list named them; else a launch did.
    listed INTEGER NOT NULL,
    seen_at INTEGER NOT NULL,
    PRIMARY KEY (placement, user)
) STRICT, WITHOUT ROWID;
