-- The tables in PostgreSQL as of version 12; what they mean stands with the migrations of SQLite. Written as SQLite has
-- it (see dialect.rs), with JSON where a statement looks into it.

CREATE TABLE registrations (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    issuer TEXT NOT NULL,
    client_id TEXT NOT NULL,
    authorization_url TEXT NOT NULL,
    token_url TEXT NOT NULL,
    keys_url TEXT NOT NULL,
    audience TEXT,
    UNIQUE (issuer, client_id)
);

CREATE TABLE deployments (
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    deployment TEXT NOT NULL,
    PRIMARY KEY (registration, deployment)
);

CREATE TABLE tool_keys (
    kid TEXT NOT NULL PRIMARY KEY,
    pkcs8 BLOB NOT NULL,
    created_at INTEGER NOT NULL,
    registration INTEGER,
    sealed_by TEXT,
    signs_from INTEGER NOT NULL DEFAULT 0,
    retires_at INTEGER
);
CREATE INDEX tool_keys_by_registration ON tool_keys (registration);

CREATE TABLE login_states (
    state TEXT NOT NULL PRIMARY KEY,
    nonce TEXT NOT NULL UNIQUE,
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    target_link_uri TEXT NOT NULL,
    deployment_hint TEXT,
    browser TEXT NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at INTEGER,
    storage_target TEXT,
    storage_secret TEXT
);
CREATE INDEX login_states_by_expiry ON login_states (expires_at);

CREATE TABLE sessions (
    id TEXT NOT NULL PRIMARY KEY,
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    deployment TEXT NOT NULL,
    user TEXT,
    purpose JSON NOT NULL,
    csrf TEXT NOT NULL,
    expires_at INTEGER NOT NULL,
    return_origin TEXT
);
CREATE INDEX sessions_by_expiry ON sessions (expires_at);

CREATE TABLE session_tickets (
    ticket TEXT NOT NULL PRIMARY KEY,
    session TEXT NOT NULL REFERENCES sessions (id) ON DELETE CASCADE ON UPDATE CASCADE,
    expires_at INTEGER NOT NULL
);
CREATE INDEX session_tickets_by_session ON session_tickets (session);

CREATE TABLE frame_origins (
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    origin TEXT NOT NULL,
    PRIMARY KEY (registration, origin)
);

CREATE TABLE pools (
    id TEXT NOT NULL PRIMARY KEY,
    title TEXT NOT NULL,
    item_count INTEGER NOT NULL,
    json TEXT NOT NULL
);

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
    grade_scopes TEXT,
    created_at INTEGER NOT NULL,
    policy TEXT NOT NULL DEFAULT '{"follow_through":true}',
    resource_id TEXT NOT NULL DEFAULT '',
    windows TEXT NOT NULL DEFAULT '{}',
    closes_at INTEGER,
    layout TEXT NOT NULL DEFAULT 'all' CHECK (layout IN ('all', 'one')),
    UNIQUE (registration, deployment, resource_link)
);
CREATE INDEX placements_by_end ON placements (closes_at) WHERE closes_at IS NOT NULL;
CREATE INDEX placements_by_pool ON placements (pool);

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
    voided_at INTEGER,
    revision INTEGER NOT NULL DEFAULT 0,
    stamps TEXT NOT NULL DEFAULT '{}',
    overrides TEXT NOT NULL DEFAULT '[]',
    CHECK ((submitted_at IS NULL) = (marks IS NULL)
       AND (submitted_at IS NULL) = (points IS NULL)
       AND (submitted_at IS NULL) = (maximum IS NULL))
);
CREATE INDEX attempts_of_pupil ON attempts (placement, user, number);
CREATE UNIQUE INDEX attempts_numbered ON attempts (placement, user, number) WHERE voided_at IS NULL;
-- At most one attempt is open.
CREATE UNIQUE INDEX attempts_open ON attempts (placement, user) WHERE submitted_at IS NULL AND voided_at IS NULL;

CREATE TABLE extra_attempts (
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    extra INTEGER NOT NULL CHECK (extra > 0),
    PRIMARY KEY (placement, user)
);

CREATE TABLE outbox (
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    version INTEGER NOT NULL,
    progress TEXT NOT NULL CHECK (progress IN ('started', 'graded', 'reset')),
    points INTEGER,
    maximum INTEGER NOT NULL,
    started_at INTEGER,
    submitted_at INTEGER,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'delivered', 'parked', 'held', 'kept')),
    waiting_since INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    next_try_at INTEGER NOT NULL,
    leased_until INTEGER,
    last_timestamp INTEGER,
    problem TEXT,
    delivered TEXT,
    ours TEXT NOT NULL DEFAULT '[]',
    drift TEXT CHECK (drift IN ('missing', 'different', 'own')),
    found_points TEXT,
    found_maximum TEXT,
    overwrite INTEGER NOT NULL DEFAULT 0,
    ahead_ms INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (placement, user),
    CHECK ((progress = 'graded') = (points IS NOT NULL)
       AND (progress = 'graded') = (started_at IS NOT NULL)
       AND (progress = 'graded') = (submitted_at IS NOT NULL)),
    CHECK ((found_points IS NULL) = (found_maximum IS NULL))
);
CREATE INDEX outbox_due ON outbox (next_try_at) WHERE state = 'waiting';
-- Rows are changed several times on their way; those that stay are few, so a row finds room for its next version near by.
ALTER TABLE outbox SET (fillfactor = 70, autovacuum_vacuum_scale_factor = 0.02);
ALTER TABLE attempts SET (fillfactor = 80, autovacuum_vacuum_scale_factor = 0.02);

CREATE TABLE readings (
    placement TEXT NOT NULL PRIMARY KEY REFERENCES placements (id) ON DELETE CASCADE,
    at INTEGER NOT NULL,
    problem TEXT
);

CREATE TABLE rosters (
    placement TEXT NOT NULL PRIMARY KEY REFERENCES placements (id) ON DELETE CASCADE,
    url TEXT NOT NULL,
    differences TEXT,
    read_at INTEGER,
    asked_at INTEGER,
    problem TEXT
);

CREATE TABLE members (
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    part TEXT NOT NULL CHECK (part IN ('pupil', 'teacher', 'other', 'preview')),
    status TEXT NOT NULL CHECK (status IN ('active', 'inactive', 'deleted')),
    name TEXT,
    listed INTEGER NOT NULL,
    seen_at INTEGER NOT NULL,
    PRIMARY KEY (placement, user)
);

CREATE TABLE sheets (
    code TEXT NOT NULL PRIMARY KEY,
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT,
    number INTEGER NOT NULL,
    made_at INTEGER NOT NULL
);
CREATE INDEX sheets_by_placement ON sheets (placement, number);

CREATE TABLE api_tokens (
    secret TEXT NOT NULL PRIMARY KEY,
    role TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    id TEXT NOT NULL UNIQUE,
    note TEXT NOT NULL DEFAULT '',
    expires_at INTEGER,
    revoked_at INTEGER,
    last_used_on TEXT
);

CREATE TABLE invitations (
    id TEXT NOT NULL PRIMARY KEY,
    secret TEXT NOT NULL UNIQUE,
    note TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    held_until INTEGER,
    revoked_at INTEGER,
    used_at INTEGER,
    registration INTEGER
);

CREATE TABLE pending_deployments (
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    deployment TEXT NOT NULL,
    first_seen_at INTEGER NOT NULL,
    last_seen_at INTEGER NOT NULL,
    PRIMARY KEY (registration, deployment)
);

CREATE TABLE audit (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at INTEGER NOT NULL,
    actor JSON NOT NULL,
    action TEXT NOT NULL,
    registration INTEGER,
    placement TEXT,
    user TEXT,
    detail TEXT NOT NULL
);
CREATE INDEX audit_by_placement ON audit (placement, id);
CREATE INDEX audit_by_registration ON audit (registration, id);

ALTER TABLE schema_version ADD COLUMN works_with INTEGER NOT NULL DEFAULT 0;
