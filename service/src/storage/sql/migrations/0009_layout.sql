-- How pupils see the questions: all on one page, or one at a time.
ALTER TABLE placements ADD COLUMN layout TEXT NOT NULL DEFAULT 'all' CHECK (layout IN ('all', 'one'));
-- How often answers of an attempt were changed, and JSON of typing::Stamps: which change wrote each of them.
ALTER TABLE attempts ADD COLUMN revision INTEGER NOT NULL DEFAULT 0;
ALTER TABLE attempts ADD COLUMN stamps TEXT NOT NULL DEFAULT '{}';
