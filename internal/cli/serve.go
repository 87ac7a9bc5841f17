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
	"strings"
	"sync"
	"syscall"
	"time"

	"ullage/core/calc"
	"ullage/internal/access"
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

// factorKey is where the key of second factors lies, unless it is said.
func (d *database) factorKey(said string) string {
	if said != "" {
		return said
	}
	return filepath.Join(d.Data, "second-factor.key")
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
	Addr        string        `default:"127.0.0.1:8020" placeholder:"HOST:PORT" help:"Address to listen on; port 0 takes a free one."`
	Host        []string      `placeholder:"NAME" help:"Another name under which a proxy on this machine serves it; may be given again."`
	Open        bool          `help:"No accounts: whoever reaches the server may do everything. Only at a loopback address."`
	BackupDir   string        `placeholder:"DIR" help:"Copy the database into this folder by itself; put it on another disk." type:"path"`
	BackupEvery time.Duration `default:"6h" placeholder:"TIME" help:"How often."`
	BackupKeep  int           `name:"backup-keep-days" default:"35" placeholder:"DAYS" help:"How long copies stay; the last of each month stays ten years."`
	TLSCert     string        `name:"tls-cert" placeholder:"FILE" help:"Encrypt, with this certificate (PEM, with its chain)." type:"existingfile"`
	TLSKey      string        `name:"tls-key" placeholder:"FILE" help:"Its key." type:"existingfile"`
	Domain      string        `placeholder:"NAME" help:"Encrypt, with a certificate that is fetched by itself for this public name; needs ports 443 and 80."`
	Directory   string        `name:"acme-directory" placeholder:"URL" help:"Fetch it from this authority (ACME), such as your company's own, instead of Let's Encrypt."`
	Roots       string        `name:"acme-roots" placeholder:"FILE" help:"Trust that authority's address by these roots (PEM)." type:"existingfile"`
	LogFormat   string        `default:"text" enum:"text,json" help:"Of the log: text or json."`
	LogLevel    slog.Level    `default:"info" placeholder:"LEVEL" help:"debug, info, warn or error; debug logs every read."`
	signOnFlags
	FactorKey    string `placeholder:"FILE" help:"Where the key of second factors lies; made at first use. Without it: second-factor.key in --data." type:"path"`
	NewAdminLink bool   `help:"Print a new link for the first administrator, where the one before was lost."`
}

// Help is the long help.
func (ServeCmd) Help() string {
	return `Serves the app and the HTTP API. An empty folder becomes an empty database. The
first start prints a link, good once and for a day: who opens it becomes the
administrator and makes accounts for the others. The calculators need no account.

  ullage serve                                   this machine only
  ullage serve --addr 0.0.0.0:8020               every phone of this network
  ullage serve --db postgres://ullage@db/ullage  several servers, one database
  ullage serve --open                            no accounts, this machine only

Passwords and records cross a network as plain text unless it is encrypted. Phones
keep the app for use without a network only over https, or on this machine itself.

  ullage serve --addr :443 --tls-cert c.pem --tls-key k.pem
  ullage serve --domain oxygen.ostrelweir.example  a public name, by itself
  ullage serve --host oxygen.ostrelweir.example    behind a proxy on this machine

The page Accounts says of whom a second factor (one-time codes of an app) is
required: of nobody, as it comes; of administrators; of reviewers too; of everyone
with a password.

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
	if whole, ok := st.(interface{ Check(context.Context) error }); ok {
		if err := whole.Check(ctx); err != nil {
			return errors.Join(err, st.Close())
		}
	}
	at := site{addr: c.Addr, where: c.name(), hosts: c.Host, open: c.Open, newLink: c.NewAdminLink}
	at.tls = encryption{cert: c.TLSCert, key: c.TLSKey, domain: c.Domain, cache: filepath.Join(c.Data, "certificates"), directory: c.Directory, roots: c.Roots}
	at.signOn, at.logFormat, at.logLevel = c.signOnFlags, c.LogFormat, c.LogLevel
	at.factorKey = c.factorKey(c.FactorKey)
	if c.Domain != "" && c.Addr == "127.0.0.1:8020" {
		at.addr = ":443"
	}
	if c.BackupDir != "" {
		if c.DB != "" || c.BackupEvery < time.Minute {
			return errors.Join(fmt.Errorf("--backup-dir copies a SQLite database, every minute at most: %w", errPostgresCopies), st.Close())
		}
		at.backups = &backups{file: c.file(), dir: c.BackupDir, every: c.BackupEvery, keepDays: c.BackupKeep}
	}
	serveErr := at.serve(ctx, s, &lab.Service{Store: st, Calc: lab.TPO})
	return errors.Join(serveErr, st.Close())
}

// site is how a laboratory is served.
type site struct {
	addr, where string // where names the database in the greeting
	hosts       []string
	open        bool // without accounts
	anywhere    bool // open also to the network: the invented brewery only
	newLink     bool
	backups     *backups
	tls         encryption
	signOn      signOnFlags
	factorKey   string
	logFormat   string
	logLevel    slog.Level
}

// serve answers HTTP until ctx ends, then lets the requests under way finish.
func (c site) serve(ctx context.Context, s *streams, service *lab.Service) error {
	l, err := net.Listen("tcp", c.addr)
	if err != nil {
		return fmt.Errorf("cannot listen on %s: %w; choose another --addr", c.addr, err)
	}
	defer l.Close()
	a, isTCP := l.Addr().(*net.TCPAddr)
	loopback := isTCP && a.IP.IsLoopback()
	if c.open && !loopback && !c.anywhere {
		return fmt.Errorf("--open at %s would let the whole network write: leave out --open, or use a loopback --addr such as 127.0.0.1:8020", c.addr)
	}
	log := newLog(s.err, c.logFormat, c.logLevel)
	service.Guarded = true
	if service.Name, err = os.Hostname(); err != nil {
		service.Name = "unknown"
	}
	desk := ingest.NewDesk(service)
	defer desk.Close()
	server := &api.Server{Lab: service, Calc: calcTable{}, Import: desk, Report: reporter{service}, Web: web.FS(), Log: log, Version: Version}
	if loopback {
		server.Hosts = append([]string{"localhost", "127.0.0.1", "::1", a.IP.String()}, c.hosts...)
		server.Proxy = len(c.hosts) > 0
	}
	var link access.Link
	made := false
	if !c.open {
		server.Access = access.New(service, log)
		server.Access.KeyFile = c.factorKey
		if n, err := server.Access.Unreadable(ctx); err != nil {
			return err
		} else if n > 0 {
			log.Error("codes of second factors cannot be checked: their key is not in this file; recovery codes work", "accounts", n, "file", c.factorKey)
		}
		if link, made, err = server.Access.AdminLink(ctx, c.newLink); err != nil {
			return err
		}
		if err := c.signOn.join(ctx, server); err != nil {
			return err
		}
		go sweep(ctx, server.Access, log)
	}
	if l, err = c.tls.wrap(ctx, l, log); err != nil {
		return err
	}
	h := &http.Server{
		Handler: server.Handler(), ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 2 * time.Minute, WriteTimeout: 2 * time.Minute,
		IdleTimeout: 3 * time.Minute, MaxHeaderBytes: 64 << 10,
	}
	fmt.Fprintf(s.out, "Ullage is at %s\nrecords: %s\nstop with Ctrl-C\n", c.address(l.Addr()), c.where)
	c.greet(s.out, l.Addr(), link, made, loopback)
	if c.backups != nil {
		c.backups.log = log
		var copying sync.WaitGroup
		stop, cancel := context.WithCancel(ctx)
		copying.Go(func() { c.backups.run(stop) })
		defer copying.Wait()
		defer cancel()
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

// greet says how to come in.
func (c site) greet(out io.Writer, at net.Addr, link access.Link, made, loopback bool) {
	switch {
	case c.open && !loopback:
		fmt.Fprintln(out, "there are no accounts: whoever reaches this address may read and write")
	case made:
		// Behind the # it never reaches a server's or a proxy's log.
		fmt.Fprintf(out, "no administrator yet: open this once, within a day, to become it\n%s/sign-in#link=%s\n", c.public(at), link.Secret)
	}
	if !c.open && !loopback && !c.tls.on() {
		fmt.Fprintln(out, "without TLS, passwords and records cross the network as plain text")
	}
}

// address is what to type into a browser.
func (c site) address(a net.Addr) string {
	scheme := "http://"
	if c.tls.on() {
		scheme = "https://"
	}
	if c.tls.domain != "" {
		return scheme + c.tls.domain
	}
	if t, ok := a.(*net.TCPAddr); ok && t.IP.IsUnspecified() {
		return fmt.Sprintf("%slocalhost:%d (and this machine's addresses)", scheme, t.Port)
	}
	return scheme + a.String()
}

// public is where browsers find it: through the proxy, if there is one.
func (c site) public(a net.Addr) string {
	switch {
	case c.signOn.PublicURL != "":
		return strings.TrimSuffix(c.signOn.PublicURL, "/")
	case len(c.hosts) > 0 && !c.tls.on():
		return "https://" + c.hosts[0]
	}
	first, _, _ := strings.Cut(c.address(a), " ")
	return first
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
