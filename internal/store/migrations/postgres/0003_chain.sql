-- +goose Up
-- The hash of each revision over the one before it, and who was signed in. The
-- server fills it for revisions of releases before this one.
CREATE TABLE chain (
	seq     BIGINT NOT NULL PRIMARY KEY, -- of the revision
	hash    TEXT NOT NULL, -- SHA-256, hexadecimal
	account TEXT NOT NULL, -- id; '' where nobody was asked to sign in
	via     TEXT NOT NULL, -- how they showed who they were
	server  TEXT NOT NULL
);
-- The newest link once more, so that its loss shows.
CREATE TABLE chain_head (
	id   INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
	seq  BIGINT NOT NULL,
	hash TEXT NOT NULL
);
CREATE TRIGGER chain_is_kept BEFORE UPDATE OR DELETE ON chain
	FOR EACH STATEMENT EXECUTE FUNCTION revision_is_kept();
