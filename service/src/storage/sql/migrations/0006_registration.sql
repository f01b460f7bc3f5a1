-- Each registration has signing keys of its own. Keys without one were made when all registrations shared a key; they
-- sign until the registration's own key does. An empty private part: the key is retired, and its name stays taken.
ALTER TABLE tool_keys ADD COLUMN registration INTEGER;
-- Which key seals the private part; NULL where it is not sealed.
ALTER TABLE tool_keys ADD COLUMN sealed_by TEXT;
ALTER TABLE tool_keys ADD COLUMN signs_from INTEGER NOT NULL DEFAULT 0;
ALTER TABLE tool_keys ADD COLUMN retires_at INTEGER;
CREATE INDEX tool_keys_by_registration ON tool_keys (registration);

ALTER TABLE api_tokens ADD COLUMN id TEXT NOT NULL DEFAULT '';
UPDATE api_tokens SET id = lower(hex(randomblob(8)));
CREATE UNIQUE INDEX api_tokens_by_id ON api_tokens (id);
ALTER TABLE api_tokens ADD COLUMN note TEXT NOT NULL DEFAULT '';
ALTER TABLE api_tokens ADD COLUMN expires_at INTEGER;
ALTER TABLE api_tokens ADD COLUMN revoked_at INTEGER;
-- A day, not a time: enough to find tokens that nobody needs.
ALTER TABLE api_tokens ADD COLUMN last_used_on TEXT;

-- The secret itself is never stored, only its fingerprint.
CREATE TABLE invitations (
    id TEXT NOT NULL PRIMARY KEY,
    secret TEXT NOT NULL UNIQUE,
    note TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    -- While somebody registers with it, nobody else can.
    held_until INTEGER,
    revoked_at INTEGER,
    used_at INTEGER,
    registration INTEGER
) STRICT, WITHOUT ROWID;

-- Deployments that launched and wait for approval.
CREATE TABLE pending_deployments (
    registration INTEGER NOT NULL REFERENCES registrations (id) ON DELETE CASCADE,
    deployment TEXT NOT NULL,
    first_seen_at INTEGER NOT NULL,
    last_seen_at INTEGER NOT NULL,
    PRIMARY KEY (registration, deployment)
) STRICT, WITHOUT ROWID;
