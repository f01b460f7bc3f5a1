-- Who serves this store now. A process says every few seconds that it lives.
CREATE TABLE processes (
    id TEXT NOT NULL PRIMARY KEY,
    seen_at INTEGER NOT NULL
) STRICT;

-- Which process sends the message; NULL in leases of earlier versions, which run out by their time.
ALTER TABLE outbox ADD COLUMN leased_by TEXT;

-- What one process at a time may do, such as looking for a platform's columns.
CREATE TABLE claims (
    name TEXT NOT NULL PRIMARY KEY,
    process TEXT NOT NULL,
    until INTEGER NOT NULL
) STRICT;

-- Requests of all processes together by a keyed hash of who sent them, for each span of time.
CREATE TABLE request_counts (
    sender TEXT NOT NULL,
    began_at INTEGER NOT NULL,
    number INTEGER NOT NULL,
    PRIMARY KEY (sender, began_at)
) STRICT;
CREATE INDEX request_counts_by_time ON request_counts (began_at);

-- What all processes must know alike where no seal key is given.
CREATE TABLE shared_secrets (
    name TEXT NOT NULL PRIMARY KEY,
    secret TEXT NOT NULL
) STRICT;
