-- Points that a teacher gave in place of ours: JSON of storage::Override. The marks beside it stay as they were made; the
-- column `points` counts what the teacher said.
ALTER TABLE attempts ADD COLUMN overrides TEXT NOT NULL DEFAULT '[]';

-- Attempts that a teacher allowed a pupil beyond those of the quiz.
CREATE TABLE extra_attempts (
    placement TEXT NOT NULL REFERENCES placements (id) ON DELETE CASCADE,
    user TEXT NOT NULL,
    extra INTEGER NOT NULL CHECK (extra > 0),
    PRIMARY KEY (placement, user)
) STRICT, WITHOUT ROWID;
