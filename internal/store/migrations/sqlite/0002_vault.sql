-- +goose Up
-- What lets people in: accounts, sessions, links, tokens, devices. No record:
-- it is changed and deleted. Secrets are kept as hashes only.
CREATE TABLE vault (
	kind       TEXT    NOT NULL,
	item_key   TEXT    NOT NULL,
	owner      TEXT    NOT NULL,
	version    INTEGER NOT NULL,
	expires_at INTEGER,          -- microseconds since 1970, UTC
	body       TEXT    NOT NULL, -- JSON
	PRIMARY KEY (kind, item_key)
) WITHOUT ROWID;
CREATE INDEX vault_of_owner ON vault (kind, owner);
