-- How far ahead of our clock a pupil's messages are dated, in ms, where the platform's clock runs ahead of ours.
ALTER TABLE outbox ADD COLUMN ahead_ms INTEGER NOT NULL DEFAULT 0;

-- Programs that know the tables of this version and later ones can work with the store.
ALTER TABLE schema_version ADD COLUMN works_with INTEGER NOT NULL DEFAULT 0;
