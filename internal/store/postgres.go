package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"ullage/internal/lab"
)

const (
	// appendLock makes the servers on one database append one after the other:
	// a position that is visible never has a lower one appearing after it.
	appendLock = 8_020_001
	channel    = "ullage_revision"
	pgConns    = 16
)

// appendSQL stores a revision that follows the newest, or nothing: one journey
// to the server instead of three.
const appendSQL = `WITH stored AS (
	INSERT INTO revision (kind, id, rev, run_id, is_open, hash, body, by_whom, device_id, device_at, server_at)
	SELECT $1::text, $2::text, $3::bigint, $4::text, $5::integer, $6::text, $7::text, $8::text, $9::text, $10::timestamptz, $11::timestamptz
	WHERE coalesce((SELECT rev FROM newest WHERE kind = $1::text AND id = $2::text), 0) = $3::bigint - 1
	RETURNING seq
), listed AS (
	INSERT INTO newest (kind, id, rev, seq, run_id, is_open)
	SELECT $1::text, $2::text, $3::bigint, seq, $4::text, $5::integer FROM stored
	ON CONFLICT (kind, id) DO UPDATE SET rev = excluded.rev, seq = excluded.seq, run_id = excluded.run_id, is_open = excluded.is_open
) SELECT seq FROM stored`

// OpenPostgres opens a database by its postgres:// address. Any number of
// servers may have it open. The database must exist; its tables are made.
//
// What may be lost: nothing that was answered, as far as the server's own
// settings (fsync, replicas) keep their promise.
func OpenPostgres(ctx context.Context, address string) (lab.Store, error) {
	cfg, err := pgx.ParseConfig(address)
	if err == nil && !says(address) && elsewhere(cfg) {
		// The driver's own default falls back to plain text.
		cfg, err = pgx.ParseConfig(checked(address))
	}
	if err != nil {
		return nil, &lab.Error{Class: lab.Invalid, Faults: []lab.Fault{{Field: "db",
			Message: "is not a postgres:// address: " + withoutPassword(err), Mend: "write it like postgres://user@host:5432/ullage"}}}
	}
	cfg.RuntimeParams["synchronous_commit"] = "on"
	cfg.RuntimeParams["application_name"] = "ullage"
	conn := stdlib.OpenDB(*cfg)
	conn.SetMaxOpenConns(pgConns)
	conn.SetMaxIdleConns(pgConns)
	s := &db{read: conn, write: conn, stmts: map[string]*sql.Stmt{}, dialect: dialect{
		name: "postgres", numbers: true, class: postgresClass,
		begin:   fmt.Sprintf(`SELECT pg_advisory_xact_lock(%d)`, appendLock),
		end:     `NOTIFY ` + channel,
		inOne:   appendSQL,
		linkSQL: linksSQL,
		instant: func(t lab.Time) any {
			if t.IsZero() {
				return nil
			}
			return t.UTC()
		},
	}}
	locker, err := lock.NewPostgresSessionLocker()
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	// Copies of a PostgreSQL database are its administrator's: see docs.
	before := func(int64) error { return nil }
	err = migrate(ctx, goose.DialectPostgres, "postgres", conn, before, goose.WithSessionLocker(locker))
	if err == nil {
		err = s.ready(ctx)
	}
	if err != nil {
		if elsewhere(cfg) && !says(address) && cfg.TLSConfig != nil {
			err = fmt.Errorf("%w (at another machine TLS and a certificate that can be checked are asked for: add sslmode=verify-full and sslrootcert=FILE to the address, or sslmode=disable where the network is trusted)", err)
		}
		return nil, errors.Join(s.fail("open the database", err), conn.Close())
	}
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	ended := make(chan struct{})
	go func() { defer close(ended); s.listen(ctx, cfg) }()
	s.onClose = append(s.onClose, func() error { cancel(); <-ended; return nil })
	s.w = newWriter(s)
	return s, nil
}

// says tells whether the operator said how the line is to be encrypted.
func says(address string) bool {
	return strings.Contains(address, "sslmode=") || os.Getenv("PGSSLMODE") != ""
}

// checked asks for TLS with the certificate and the name in it checked.
func checked(address string) string {
	switch {
	case !strings.Contains(address, "://"):
		return address + " sslmode=verify-full"
	case strings.Contains(address, "?"):
		return address + "&sslmode=verify-full"
	}
	return address + "?sslmode=verify-full"
}

// elsewhere tells whether any of the hosts is another machine.
func elsewhere(cfg *pgx.ConnConfig) bool {
	hosts := []string{cfg.Host}
	for _, f := range cfg.Fallbacks {
		hosts = append(hosts, f.Host)
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); h != "localhost" && !strings.HasPrefix(h, "/") && !strings.HasPrefix(h, "@") && (ip == nil || !ip.IsLoopback()) {
			return true
		}
	}
	return false
}

// withoutPassword keeps only the reason of a parse error, not the address.
func withoutPassword(err error) string {
	text := err.Error()
	if i := strings.LastIndex(text, ": "); i >= 0 {
		return text[i+2:]
	}
	return "it cannot be read"
}

// listen hears of the other servers' writes. While it cannot, followers are
// woken every second to look for themselves.
func (s *db) listen(ctx context.Context, cfg *pgx.ConnConfig) {
	for ctx.Err() == nil {
		s.listenOnce(ctx, cfg)
		s.hub.wake()
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
}

func (s *db) listenOnce(ctx context.Context, cfg *pgx.ConnConfig) {
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, `LISTEN `+channel); err != nil {
		return
	}
	s.hub.wake() // for what was written before this connection listened
	for {
		if _, err := conn.WaitForNotification(ctx); err != nil {
			return
		}
		s.hub.wake()
	}
}

func postgresClass(err error) lab.Class {
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		switch {
		case e.Code == "53100": // disk_full
			return lab.Full
		case strings.HasPrefix(e.Code, "53"), strings.HasPrefix(e.Code, "57P"), strings.HasPrefix(e.Code, "40"):
			return lab.Busy // out of connections, shutting down, or to be tried again
		}
		return lab.Internal
	}
	if _, ok := errors.AsType[*pgconn.ConnectError](err); ok {
		return lab.Busy
	}
	if _, ok := errors.AsType[net.Error](err); ok {
		return lab.Busy
	}
	return lab.ClassOf(err)
}
