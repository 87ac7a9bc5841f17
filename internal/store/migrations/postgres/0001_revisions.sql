-- +goose Up
-- Every revision of every record, in the one order of writes. Never changed.
-- Ids are compared byte by byte, as SQLite does.
CREATE TABLE revision (
	seq       BIGINT      GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
	kind      TEXT        COLLATE "C" NOT NULL,
	id        TEXT        COLLATE "C" NOT NULL,
	rev       BIGINT      NOT NULL,
	run_id    TEXT        COLLATE "C" NOT NULL, -- '' where it belongs to no run
	is_open   INTEGER     NOT NULL, -- 1: a run going on or on hold
	hash      TEXT        NOT NULL, -- of what a person entered
	body      TEXT        NOT NULL, -- JSON, byte for byte as answered
	by_whom   TEXT        NOT NULL,
	device_id TEXT        NOT NULL,
	device_at TIMESTAMPTZ,
	server_at TIMESTAMPTZ NOT NULL,
	UNIQUE (kind, id, rev)
);
CREATE INDEX revision_of_run ON revision (run_id, seq) WHERE run_id <> '';

-- The newest revision of each record, for lists.
CREATE TABLE newest (
	kind    TEXT    COLLATE "C" NOT NULL,
	id      TEXT    COLLATE "C" NOT NULL,
	rev     BIGINT  NOT NULL,
	seq     BIGINT  NOT NULL REFERENCES revision (seq),
	run_id  TEXT    COLLATE "C" NOT NULL,
	is_open INTEGER NOT NULL,
	PRIMARY KEY (kind, id)
);
CREATE INDEX newest_of_run ON newest (run_id, kind, id) WHERE run_id <> '';
CREATE INDEX newest_open ON newest (kind, id) WHERE is_open = 1;

-- Short numbers for speech and labels.
CREATE TABLE counter (
	name  TEXT   NOT NULL PRIMARY KEY,
	value BIGINT NOT NULL
);

-- +goose StatementBegin
CREATE FUNCTION revision_is_kept() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'a revision is never changed or deleted'; END $$;
-- +goose StatementEnd
CREATE TRIGGER revision_is_kept BEFORE UPDATE OR DELETE ON revision
	FOR EACH STATEMENT EXECUTE FUNCTION revision_is_kept();
