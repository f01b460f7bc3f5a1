-- As long as the statistics of PostgreSQL say that nothing waits, it takes any index that holds what waits for the right one
-- and reads all of it at every look for what is due. So only one does; this one holds what stopped, which is counted often.
DROP INDEX outbox_unsettled;
CREATE INDEX outbox_stopped ON outbox (state) WHERE state IN ('parked', 'held');
