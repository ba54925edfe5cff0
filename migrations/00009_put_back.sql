-- +goose Up

-- What was superseded by one edit: a tree that is deleted takes its cuts and
-- visits along, and with them it comes back. Rows of before say nothing of it.
ALTER TABLE history ADD made_in xid8;
ALTER TABLE history ALTER made_in SET DEFAULT pg_current_xact_id();
