package store

import (
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
)

// A database on another machine is spoken to through TLS with its certificate
// checked, unless its operator wrote otherwise.
func TestPostgresElsewhere(t *testing.T) {
	t.Setenv("PGSSLMODE", "")
	for address, far := range map[string]bool{
		"postgres://ullage@127.0.0.1/ullage": false, "postgres://ullage@[::1]:5432/ullage": false, "postgres:///ullage?host=/run/postgresql": false, "host=localhost dbname=ullage": false,
		"postgres://ullage@db.ostrelweir.example/ullage": true, "postgres://ullage@10.0.0.4/ullage?connect_timeout=3": true, "host=db.ostrelweir.example dbname=ullage": true,
		"postgres://ullage@127.0.0.1,db.ostrelweir.example/ullage": true,
	} {
		cfg, err := pgx.ParseConfig(address)
		if err != nil || elsewhere(cfg) != far {
			t.Errorf("%s: elsewhere %v, %v", address, !far, err)
			continue
		}
		if !far {
			continue
		}
		cfg, err = pgx.ParseConfig(checked(address))
		if err != nil || cfg.TLSConfig == nil || cfg.TLSConfig.InsecureSkipVerify || cfg.TLSConfig.ServerName == "" {
			t.Errorf("%s: %+v, %v", address, cfg.TLSConfig, err)
		}
		for _, f := range cfg.Fallbacks {
			if f.TLSConfig == nil {
				t.Errorf("%s falls back to plain text", address)
			}
		}
	}
	for _, address := range []string{"postgres://u@db/ullage?sslmode=disable", "host=db sslmode=require"} {
		if !says(address) {
			t.Errorf("%s: what the operator wrote is not seen", address)
		}
	}
	// A name that is nobody's: the refusal says what can be done.
	_, err := OpenPostgres(t.Context(), "postgres://ullage@db.invalid/ullage?connect_timeout=2")
	if err == nil || !strings.Contains(err.Error(), "sslmode=verify-full") {
		t.Error(err)
	}
}
