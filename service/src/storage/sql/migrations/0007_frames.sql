-- A login in a frame may have left a secret with the platform's window (postMessage storage); both or neither.
ALTER TABLE login_states ADD COLUMN storage_target TEXT;
ALTER TABLE login_states ADD COLUMN storage_secret TEXT;

-- Where the platform's pages are, by the launch's return address, if it has one.
ALTER TABLE sessions ADD COLUMN return_origin TEXT;

-- A ticket turns a session that has no cookie yet into one of another window, once.
CREATE TABLE session_tickets (
    ticket TEXT NOT NULL PRIMARY KEY,
    session TEXT NOT NULL REFERENCES sessions (id) ON DELETE CASCADE ON UPDATE CASCADE,
    expires_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX session_tickets_by_session ON session_tickets (session);

-- Further origins of a platform's pages, where they differ from its registered addresses.
CREATE TABLE frame_origins (
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    origin TEXT NOT NULL,
    PRIMARY KEY (registration, origin)
) STRICT, WITHOUT ROWID;
