-- A token itself is never stored, only its fingerprint.
CREATE TABLE api_tokens (
    secret TEXT NOT NULL PRIMARY KEY,
    role TEXT NOT NULL,
    created_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
