-- +goose Up
-- Every revision of every record, in the one order of writes. Never changed.
CREATE TABLE revision (
	seq       INTEGER PRIMARY KEY AUTOINCREMENT,
	kind      TEXT    NOT NULL,
	id        TEXT    NOT NULL,
	rev       INTEGER NOT NULL,
	run_id    TEXT    NOT NULL, -- '' where it belongs to no run
	is_open   INTEGER NOT NULL, -- 1: a run going on or on hold
	hash      TEXT    NOT NULL, -- of what a person entered
	body      TEXT    NOT NULL, -- JSON, byte for byte as answered
	by_whom   TEXT    NOT NULL,
	device_id TEXT    NOT NULL,
	device_at INTEGER,          -- microseconds since 1970, UTC
	server_at INTEGER NOT NULL,
	UNIQUE (kind, id, rev)
);
CREATE INDEX revision_of_run ON revision (run_id, seq) WHERE run_id <> '';

-- The newest revision of each record, for lists.
CREATE TABLE newest (
	kind    TEXT    NOT NULL,
	id      TEXT    NOT NULL,
	rev     INTEGER NOT NULL,
	seq     INTEGER NOT NULL REFERENCES revision (seq),
	run_id  TEXT    NOT NULL,
	is_open INTEGER NOT NULL,
	PRIMARY KEY (kind, id)
) WITHOUT ROWID;
CREATE INDEX newest_of_run ON newest (run_id, kind, id) WHERE run_id <> '';
CREATE INDEX newest_open ON newest (kind, id) WHERE is_open = 1;

-- Short numbers for speech and labels.
CREATE TABLE counter (
	name  TEXT    NOT NULL PRIMARY KEY,
	value INTEGER NOT NULL
);

-- +goose StatementBegin
CREATE TRIGGER revision_is_never_changed BEFORE UPDATE ON revision
BEGIN SELECT RAISE(ABORT, 'a revision is never changed'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER revision_is_never_deleted BEFORE DELETE ON revision
BEGIN SELECT RAISE(ABORT, 'a revision is never deleted'); END;
-- +goose StatementEnd
