-- Times are milliseconds since 1970. Identifiers of platforms are kept byte for byte.

CREATE TABLE registrations (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    issuer TEXT NOT NULL,
    client_id TEXT NOT NULL,
    authorization_url TEXT NOT NULL,
    token_url TEXT NOT NULL,
    keys_url TEXT NOT NULL,
    audience TEXT,
    UNIQUE (issuer, client_id)
) STRICT;

CREATE TABLE deployments (
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    deployment TEXT NOT NULL,
    PRIMARY KEY (registration, deployment)
) STRICT, WITHOUT ROWID;

CREATE TABLE tool_keys (
    kid TEXT NOT NULL PRIMARY KEY,
    pkcs8 BLOB NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;

-- A used state stays until it is purged, so that neither it nor its nonce works twice.
CREATE TABLE login_states (
    state TEXT NOT NULL PRIMARY KEY,
    nonce TEXT NOT NULL UNIQUE,
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    target_link_uri TEXT NOT NULL,
    deployment_hint TEXT,
    browser TEXT NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at INTEGER
) STRICT;
CREATE INDEX login_states_by_expiry ON login_states (expires_at);

CREATE TABLE sessions (
    id TEXT NOT NULL PRIMARY KEY,
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    deployment TEXT NOT NULL,
    user TEXT,
    purpose TEXT NOT NULL,
    csrf TEXT NOT NULL,
    expires_at INTEGER NOT NULL
) STRICT;
CREATE INDEX sessions_by_expiry ON sessions (expires_at);

CREATE TABLE pools (
    id TEXT NOT NULL PRIMARY KEY,
    title TEXT NOT NULL,
    item_count INTEGER NOT NULL,
    json TEXT NOT NULL
) STRICT;

CREATE TABLE placements (
    id TEXT NOT NULL PRIMARY KEY,
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    deployment TEXT NOT NULL,
    resource_link TEXT NOT NULL,
    context TEXT,
    title TEXT NOT NULL,
    pool TEXT NOT NULL REFERENCES pools (id),
    question_count INTEGER NOT NULL CHECK (question_count > 0),
    attempts_allowed INTEGER NOT NULL CHECK (attempts_allowed > 0),
    line_item TEXT,
    line_items TEXT,
    -- JSON list of scopes; NULL when the platform takes no grades for this link.
    grade_scopes TEXT,
    created_at INTEGER NOT NULL,
    UNIQUE (registration, deployment, resource_link)
) STRICT;

CREATE TABLE attempts (
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
    UNIQUE (placement, user, number),
    CHECK ((submitted_at IS NULL) = (marks IS NULL)
       AND (submitted_at IS NULL) = (points IS NULL)
       AND (submitted_at IS NULL) = (maximum IS NULL))
) STRICT;
-- At most one attempt is open.
CREATE UNIQUE INDEX attempts_open ON attempts (placement, user) WHERE submitted_at IS NULL;

-- One row for each pupil and placement: only the newest grade is worth sending.
CREATE TABLE outbox (
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    version INTEGER NOT NULL,
    points INTEGER NOT NULL,
    maximum INTEGER NOT NULL,
    started_at INTEGER NOT NULL,
    submitted_at INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'delivered', 'parked')),
    waiting_since INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    next_try_at INTEGER NOT NULL,
    leased_until INTEGER,
    -- The newest time ever sent for this pupil; the next one is later.
    last_timestamp INTEGER,
    problem TEXT,
    PRIMARY KEY (placement, user)
) STRICT, WITHOUT ROWID;
CREATE INDEX outbox_due ON outbox (next_try_at) WHERE state = 'waiting';
