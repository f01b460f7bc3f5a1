-- A reset sets attempts aside: they stay, with the time, and are numbered anew from then on.
CREATE TABLE new_attempts (
    id TEXT NOT NULL PRIMARY KEY,
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    number INTEGER NOT NULL,
    seed TEXT NOT NULL,
    started_at INTEGER NOT NULL,
    responses TEXT NOT NULL,
    submitted_at INTEGER,
    marks TEXT,
    points INTEGER,
    maximum INTEGER,
    voided_at INTEGER,
    CHECK ((submitted_at IS NULL) = (marks IS NULL)
       AND (submitted_at IS NULL) = (points IS NULL)
       AND (submitted_at IS NULL) = (maximum IS NULL))
) STRICT;
INSERT INTO new_attempts
SELECT id, placement, user, number, seed, started_at, responses, submitted_at, marks, points, maximum, NULL
FROM attempts;
DROP TABLE attempts;
ALTER TABLE new_attempts RENAME TO attempts;
CREATE INDEX attempts_of_pupil ON attempts (placement, user, number);
CREATE UNIQUE INDEX attempts_numbered ON attempts (placement, user, number) WHERE voided_at IS NULL;
-- At most one attempt is open.
CREATE UNIQUE INDEX attempts_open ON attempts (placement, user) WHERE submitted_at IS NULL AND voided_at IS NULL;

-- Beside grades, the gradebook is told of beginnings and resets; and what it shows is compared with what it was sent.
CREATE TABLE new_outbox (
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    version INTEGER NOT NULL,
    progress TEXT NOT NULL CHECK (progress IN ('started', 'graded', 'reset')),
    points INTEGER,
    -- Of a grade, its own; else what a column that has to be made would have.
    maximum INTEGER NOT NULL,
    started_at INTEGER,
    submitted_at INTEGER,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'delivered', 'parked', 'held', 'kept')),
    waiting_since INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    next_try_at INTEGER NOT NULL,
    leased_until INTEGER,
    -- The newest time ever sent for this pupil; the next one is later.
    last_timestamp INTEGER,
    problem TEXT,
    -- JSON of the score that the platform confirmed last.
    delivered TEXT,
    -- JSON list of the scores of ours that may stand in the gradebook.
    ours TEXT NOT NULL DEFAULT '[]',
    drift TEXT CHECK (drift IN ('missing', 'different', 'own')),
    found_points TEXT,
    found_maximum TEXT,
    overwrite INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (placement, user),
    CHECK ((progress = 'graded') = (points IS NOT NULL)
       AND (progress = 'graded') = (started_at IS NOT NULL)
       AND (progress = 'graded') = (submitted_at IS NOT NULL)),
    CHECK ((found_points IS NULL) = (found_maximum IS NULL))
) STRICT, WITHOUT ROWID;
INSERT INTO new_outbox (placement, user, version, progress, points, maximum, started_at, submitted_at, state,
    waiting_since, tries, next_try_at, leased_until, last_timestamp, problem, delivered, ours)
SELECT placement, user, version, 'graded', points, maximum, started_at, submitted_at, state,
    waiting_since, tries, next_try_at, leased_until, last_timestamp, problem,
    CASE state WHEN 'delivered' THEN json_object('points', points, 'maximum', maximum) END,
    CASE state WHEN 'delivered' THEN json_array(json_object('points', points, 'maximum', maximum)) ELSE '[]' END
FROM outbox;
DROP TABLE outbox;
ALTER TABLE new_outbox RENAME TO outbox;
CREATE INDEX outbox_due ON outbox (next_try_at) WHERE state = 'waiting';

-- When a placement's column was read back last.
CREATE TABLE readings (
    placement TEXT NOT NULL PRIMARY KEY REFERENCES placements (id) ON DELETE CASCADE,
    at INTEGER NOT NULL,
    problem TEXT
) STRICT, WITHOUT ROWID;
