-- JSON of qbank's marking policy; quizzes placed before there was a choice follow own values.
ALTER TABLE placements ADD COLUMN policy TEXT NOT NULL DEFAULT '{"follow_through":true}';
