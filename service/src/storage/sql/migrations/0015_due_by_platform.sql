-- What is due is looked for by platform, in the order of sending, however much waits for the others. Rows of programs that
-- do not know the column are filled in before anything is leased (outbox.rs).
ALTER TABLE outbox ADD COLUMN registration INTEGER;
CREATE INDEX outbox_due_of_platform ON outbox (registration, next_try_at, placement, user) WHERE state = 'waiting';
DROP INDEX outbox_due;
CREATE INDEX outbox_of_no_platform ON outbox (placement) WHERE registration IS NULL;
CREATE INDEX outbox_leased ON outbox (leased_until) WHERE leased_until IS NOT NULL;
-- Delivered rows are many; those that are not are counted often.
CREATE INDEX outbox_unsettled ON outbox (state, waiting_since) WHERE state NOT IN ('delivered', 'kept');
