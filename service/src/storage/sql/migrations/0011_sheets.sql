-- Printed sheets of a quiz. The code draws the questions; an attempt that was typed in from a sheet has the sheet's seed.
CREATE TABLE sheets (
    code TEXT NOT NULL PRIMARY KEY,
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    -- Whose sheet it is; none before an unnamed one is typed in.
    user TEXT,
    -- Order of making.
    number INTEGER NOT NULL,
    made_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX sheets_by_placement ON sheets (placement, number);
