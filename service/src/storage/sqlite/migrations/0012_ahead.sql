-- How far ahead of our clock a pupil's messages are dated, in ms, where the platform's clock runs ahead of ours.
ALTER TABLE outbox ADD COLUMN ahead_ms INTEGER NOT NULL DEFAULT 0;
