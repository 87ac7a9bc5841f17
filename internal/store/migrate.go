package store

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"

	"ullage/internal/lab"
)

//go:embed migrations
var migrations embed.FS

// migrate brings a database to this release's form. before is called with the
// version found, if that is an older one that holds data.
func migrate(ctx context.Context, d goose.Dialect, dir string, conn *sql.DB, before func(version int64) error,
	opts ...goose.ProviderOption) error {
	files, err := fs.Sub(migrations, "migrations/"+dir)
	if err != nil {
		return err
	}
	return migrateFrom(ctx, d, files, conn, before, opts...)
}

func migrateFrom(ctx context.Context, d goose.Dialect, files fs.FS, conn *sql.DB, before func(version int64) error,
	opts ...goose.ProviderOption) error {
	p, err := goose.NewProvider(d, conn, files, append(opts, goose.WithDisableGlobalRegistry(true))...)
	if err != nil {
		return err
	}
	have, know, err := p.GetVersions(ctx)
	if err != nil {
		return err
	}
	if have > know {
		return &lab.Error{Class: lab.Invalid, Text: "the database is of a newer release", Faults: []lab.Fault{{
			Field: "version", Value: have, Message: fmt.Sprintf("this program knows versions up to %d", know),
			Mend: "run the newer release, or restore the copy it made before it changed the database"}}}
	}
	if have == know {
		return nil
	}
	if have > 0 {
		if err := before(have); err != nil {
			return fmt.Errorf("copy the database before changing it: %w", err)
		}
	}
	_, err = p.Up(ctx)
	return err
}
