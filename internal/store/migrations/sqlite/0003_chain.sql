-- +goose Up
-- The hash of each revision over the one before it, and who was signed in. The
-- server fills it for revisions of releases before this one.
CREATE TABLE chain (
	seq     INTEGER NOT NULL PRIMARY KEY, -- of the revision
	hash    TEXT NOT NULL, -- SHA-256, hexadecimal
	account TEXT NOT NULL, -- id; '' where nobody was asked to sign in
	via     TEXT NOT NULL, -- how they showed who they were
	server  TEXT NOT NULL
);
-- The newest link once more, so that its loss shows.
CREATE TABLE chain_head (
	id   INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
	seq  INTEGER NOT NULL,
	hash TEXT NOT NULL
);
-- +goose StatementBegin
CREATE TRIGGER chain_is_never_changed BEFORE UPDATE ON chain
BEGIN SELECT RAISE(ABORT, 'the chain is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER chain_is_never_deleted BEFORE DELETE ON chain
BEGIN SELECT RAISE(ABORT, 'the chain is never deleted'); END;
-- +goose StatementEnd
