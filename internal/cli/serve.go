package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"ullage/core/calc"
	"ullage/internal/api"
	"ullage/internal/ingest"
	"ullage/internal/lab"
	"ullage/internal/store"
	"ullage/web"
)

// database says where the records are.
type database struct {
	Data string `default:"ullage-data" placeholder:"DIR" help:"Folder of the SQLite database; made if missing." type:"path"`
	DB   string `placeholder:"postgres://…" help:"Keep the records in this PostgreSQL database instead."`
}

func (d *database) file() string { return filepath.Join(d.Data, "ullage.db") }

func (d *database) open(ctx context.Context) (lab.Store, error) {
	if d.DB != "" {
		return store.OpenPostgres(ctx, d.DB)
	}
	return store.OpenSQLite(ctx, d.file(), store.SQLiteOptions{})
}

// openToRead leaves the database to a server that may have it open.
func (d *database) openToRead(ctx context.Context) (lab.Store, error) {
	if d.DB != "" {
		return store.OpenPostgres(ctx, d.DB)
	}
	return store.ReadSQLite(ctx, d.file())
}

func (d *database) name() string {
	if d.DB != "" {
		return "PostgreSQL"
	}
	return d.file()
}

// ServeCmd runs the server.
type ServeCmd struct {
	database
	Addr string   `default:"127.0.0.1:8020" placeholder:"HOST:PORT" help:"Address to listen on; port 0 takes a free one."`
	Host []string `placeholder:"NAME" help:"Another name under which a proxy on this machine serves it; may be given again."`
}

// Help is the long help.
func (ServeCmd) Help() string {
	return `Serves the app and the HTTP API. An empty folder becomes an empty database, and
the app leads through the first set-up.

  ullage serve                                   this machine only
  ullage serve --addr 0.0.0.0:8020               every phone of this network
  ullage serve --db postgres://ullage@db/ullage  several servers, one database

There are no accounts: whoever reaches the address may read and write. Serve a
wider network through a proxy with a login and encryption. Phones keep the app
for use without a network only over https, or on this machine itself.

  ullage serve --host oxygen.ostrelweir.example  behind a proxy on this machine

At a loopback address only requests to localhost and to names given with --host
are answered.

One server at a time has a folder open. Copy a folder only while no server runs,
or use "ullage export". Before a new release changes a database it puts a copy
beside it. /healthz, /metrics and /api/docs are for operators.`
}

// Run serves until it is interrupted.
func (c *ServeCmd) Run(s *streams) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return c.serve(ctx, s)
}

func (c *ServeCmd) serve(ctx context.Context, s *streams) error {
	st, err := c.open(ctx)
	if err != nil {
		return err
	}
	serveErr := Serve(ctx, s.out, s.err, c.Addr, c.name(), c.Host, &lab.Service{Store: st, Calc: lab.TPO})
	return errors.Join(serveErr, st.Close())
}

// Serve answers HTTP at addr for a laboratory until ctx ends, then lets the
// requests under way finish. where names the database in the greeting;
// hosts are names besides localhost, for a loopback address.
func Serve(ctx context.Context, out, errOut io.Writer, addr, where string, hosts []string, service *lab.Service) error {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return fmt.Errorf("cannot listen on %s: %w; choose another --addr", addr, err)
	}
	log := slog.New(slog.NewTextHandler(errOut, nil))
	desk := ingest.NewDesk(service)
	defer desk.Close()
	server := &api.Server{Lab: service, Calc: calcTable{}, Import: desk, Report: reporter{service}, Web: web.FS(), Log: log, Version: Version}
	a, isTCP := l.Addr().(*net.TCPAddr)
	if isTCP && a.IP.IsLoopback() {
		server.Hosts = append([]string{"localhost", "127.0.0.1", "::1", a.IP.String()}, hosts...)
	}
	h := &http.Server{
		Handler: server.Handler(), ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 2 * time.Minute, WriteTimeout: 2 * time.Minute,
		IdleTimeout: 3 * time.Minute, MaxHeaderBytes: 64 << 10,
	}
	fmt.Fprintf(out, "Ullage is at %s\nrecords: %s\nstop with Ctrl-C\n", address(l.Addr()), where)
	if isTCP && !a.IP.IsLoopback() {
		fmt.Fprintln(out, "there are no accounts: whoever reaches this address may read and write")
	}
	failed := make(chan error, 1)
	go func() { failed <- h.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	server.Shutdown()
	end, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	return h.Shutdown(end)
}

// address is what to type into a browser.
func address(a net.Addr) string {
	if t, ok := a.(*net.TCPAddr); ok && t.IP.IsUnspecified() {
		return fmt.Sprintf("http://localhost:%d (and this machine's addresses)", t.Port)
	}
	return "http://" + a.String()
}

// calcTable is core/calc as the API wants it.
type calcTable struct{}

func (calcTable) List() ([]byte, error) { return json.Marshal(calc.List()) }

func (calcTable) Run(name string, input []byte) ([]byte, error) {
	if _, err := calc.Find(name); err != nil {
		return nil, &lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "path.name", Value: name,
			Message: "there is no such calculation", Mend: "GET /api/v1/calc lists them"}}}
	}
	return []byte(calc.RunText(name, string(input))), nil
}
