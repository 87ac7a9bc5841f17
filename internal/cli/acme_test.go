package cli

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"log"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/letsencrypt/pebble/v2/ca"
	"github.com/letsencrypt/pebble/v2/db"
	"github.com/letsencrypt/pebble/v2/va"
	"github.com/letsencrypt/pebble/v2/wfe"
	"github.com/miekg/dns"
)

const aleName = "oxygen.ostrelweir.example"

// names answers every question for an address with this machine's.
func names(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &dns.Server{Listener: l, Net: "tcp", Handler: dns.HandlerFunc(func(w dns.ResponseWriter, q *dns.Msg) {
		a := new(dns.Msg)
		a.SetReply(q)
		if q.Question[0].Qtype == dns.TypeA {
			a.Answer = []dns.RR{&dns.A{Hdr: dns.RR_Header{Name: q.Question[0].Name, Rrtype: dns.TypeA, Class: dns.ClassINET, Ttl: 1}, A: net.IPv4(127, 0, 0, 1)}}
		}
		_ = w.WriteMsg(a)
	})}
	go func() { _ = s.ActivateAndServe() }()
	t.Cleanup(func() { _ = s.Shutdown() })
	return l.Addr().String()
}

// authority is a certificate authority for tests that speaks ACME, RFC 8555, and
// asks back at the port. It returns its directory, a file with the root of its
// own address, and the root of what it issues.
func authority(t *testing.T, port int) (directory, roots string, issued *x509.CertPool) {
	t.Helper()
	t.Setenv("PEBBLE_VA_NOSLEEP", "1")
	quiet, store := log.New(io.Discard, "", 0), db.NewMemoryStore()
	issuer := ca.New(quiet, store, "", "ecdsa", 0, 1, map[string]ca.Profile{"default": {}})
	front := wfe.New(quiet, store, va.New(quiet, 0, port, false, names(t), store), issuer, []string{"authority.example"}, false, false, 0, 0)
	s := httptest.NewTLSServer(front.Handler())
	t.Cleanup(s.Close)
	roots = filepath.Join(t.TempDir(), "roots.pem")
	if err := os.WriteFile(roots, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw}), 0o600); err != nil {
		t.Fatal(err)
	}
	issued = x509.NewCertPool()
	issued.AppendCertsFromPEM(issuer.GetRootCert(0).PEM())
	return s.URL + wfe.DirectoryPath, roots, issued
}

// The certificate of --domain is fetched from an authority that checks whose the
// name is, kept in the folder, and taken from there by the next start, when the
// authority is gone.
func TestCertificateByItself(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	directory, roots, issued := authority(t, l.Addr().(*net.TCPAddr).Port)
	kept := filepath.Join(t.TempDir(), "certificates")
	serve := func(l net.Listener, e encryption) (ask func(name string) (*tls.ConnectionState, error)) {
		wrapped, err := e.wrap(t.Context(), l, slog.New(slog.DiscardHandler))
		if err != nil {
			t.Fatal(err)
		}
		server := &http.Server{ReadHeaderTimeout: time.Minute, Handler: http.NotFoundHandler(), ErrorLog: log.New(io.Discard, "", 0)}
		go func() { _ = server.Serve(wrapped) }()
		t.Cleanup(func() { _ = server.Close() })
		return func(name string) (*tls.ConnectionState, error) {
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			c, err := (&tls.Dialer{Config: &tls.Config{RootCAs: issued, ServerName: name}}).DialContext(ctx, "tcp", l.Addr().String())
			if err != nil {
				return nil, err
			}
			defer c.Close()
			state := c.(*tls.Conn).ConnectionState()
			return &state, nil
		}
	}
	e := encryption{domain: aleName, cache: kept, directory: directory, roots: roots}
	ask := serve(l, e)
	first, err := ask(aleName)
	if err != nil {
		t.Fatal(err)
	}
	if first.Version < tls.VersionTLS12 || first.PeerCertificates[0].VerifyHostname(aleName) != nil {
		t.Errorf("TLS %x for %v", first.Version, first.PeerCertificates[0].DNSNames)
	}
	if _, err := ask("another.example"); err == nil {
		t.Error("a certificate for a name that is not this server's")
	}
	again, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	e.directory = "https://127.0.0.1:1/gone"
	second, err := serve(again, e)(aleName)
	if err != nil {
		t.Fatal("after a restart: ", err)
	}
	if second.PeerCertificates[0].SerialNumber.Cmp(first.PeerCertificates[0].SerialNumber) != 0 {
		t.Error("asked for again, though it was kept")
	}
}

// What keeps a certificate away stands in the log at once, not at the first visit.
func TestNoAuthorityIsLogged(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	said := make(chan string, 9)
	e := encryption{domain: aleName, cache: t.TempDir(), directory: "https://127.0.0.1:1/gone"}
	if _, err := e.wrap(t.Context(), l, slog.New(slog.NewTextHandler(lineWriter(said), nil))); err != nil {
		t.Fatal(err)
	}
	for line := range said {
		if strings.Contains(line, "no certificate yet") && strings.Contains(line, aleName) && strings.Contains(line, "refused") {
			return
		}
	}
}

type lineWriter chan string

func (w lineWriter) Write(line []byte) (int, error) {
	w <- string(line)
	return len(line), nil
}

func TestAuthorityFlagsGoTogether(t *testing.T) {
	junk := filepath.Join(t.TempDir(), "junk.pem")
	if err := os.WriteFile(junk, []byte("no certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	for want, e := range map[string]encryption{
		"goes with --domain":  {directory: "https://authority.example/directory"},
		"no certificate":      {domain: aleName, directory: "https://authority.example/directory", roots: junk},
		"with --acme-directo": {domain: aleName, roots: junk},
	} {
		if _, err := e.wrap(t.Context(), nil, slog.New(slog.DiscardHandler)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}
