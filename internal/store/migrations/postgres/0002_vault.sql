-- +goose Up
-- What lets people in: accounts, sessions, links, tokens, devices. No record:
-- it is changed and deleted. Secrets are kept as hashes only.
CREATE TABLE vault (
	kind       TEXT        COLLATE "C" NOT NULL,
	item_key   TEXT        COLLATE "C" NOT NULL,
	owner      TEXT        COLLATE "C" NOT NULL,
	version    BIGINT      NOT NULL,
	expires_at TIMESTAMPTZ,
	body       TEXT        NOT NULL, -- JSON
	PRIMARY KEY (kind, item_key)
);
CREATE INDEX vault_of_owner ON vault (kind, owner);
