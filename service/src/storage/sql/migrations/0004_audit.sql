-- What was changed, by whom. No foreign keys: the trail outlives what it tells of.
CREATE TABLE audit (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at INTEGER NOT NULL,
    -- JSON of storage's Actor.
    actor TEXT NOT NULL,
    action TEXT NOT NULL,
    registration INTEGER,
    placement TEXT,
    user TEXT,
    detail TEXT NOT NULL
) STRICT;
CREATE INDEX audit_by_placement ON audit (placement, id);
CREATE INDEX audit_by_registration ON audit (registration, id);
