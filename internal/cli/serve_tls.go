package cli

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"time"

	"golang.org/x/crypto/acme"
	"golang.org/x/crypto/acme/autocert"

	"ullage/internal/access"
	"ullage/internal/api"
)

// encryption is TLS by files, by a certificate that is fetched for a name, or none.
type encryption struct {
	cert, key     string // files
	domain, cache string // the name, and the folder its certificates are kept in
	directory     string // of the ACME authority; Let's Encrypt where empty
	roots         string // file: whom that directory's own certificate is from
}

func (e encryption) on() bool { return e.cert != "" || e.domain != "" }

// wrap puts TLS around a listener. For a public name a second server at port 80
// answers the certificate's questions and sends everyone else to https.
func (e encryption) wrap(ctx context.Context, l net.Listener, log *slog.Logger) (net.Listener, error) {
	if (e.cert == "") != (e.key == "") || e.cert != "" && e.domain != "" {
		return nil, errors.New("TLS takes --tls-cert with --tls-key, or --domain, not a part of them")
	}
	if e.domain == "" && e.directory != "" || e.directory == "" && e.roots != "" {
		return nil, errors.New("--acme-directory goes with --domain, and --acme-roots with --acme-directory")
	}
	conf := &tls.Config{NextProtos: []string{"h2", "http/1.1"}}
	switch {
	case e.cert != "":
		pair := &certificate{cert: e.cert, key: e.key, log: log}
		if _, err := pair.get(nil); err != nil {
			return nil, fmt.Errorf("the certificate cannot be used: %w", err)
		}
		conf.GetCertificate = pair.get
	case e.domain != "":
		client, err := e.authority()
		if err != nil {
			return nil, err
		}
		m := &autocert.Manager{Prompt: autocert.AcceptTOS, HostPolicy: autocert.HostWhitelist(e.domain), Cache: autocert.DirCache(e.cache), Client: client}
		conf = m.TLSConfig()
		plain := &http.Server{Addr: ":80", Handler: m.HTTPHandler(toTLS(e.domain)), ReadHeaderTimeout: 10 * time.Second}
		go func() {
			if err := plain.ListenAndServe(); !errors.Is(err, http.ErrServerClosed) {
				log.Error("port 80", "err", err)
			}
		}()
		context.AfterFunc(ctx, func() { _ = plain.Close() })
		go func() { // now, not at the first visit: the log says early what is wrong
			if _, err := m.GetCertificate(modern(e.domain)); err != nil && ctx.Err() == nil {
				log.Error("no certificate yet", "domain", e.domain, "err", err)
			}
		}()
	default:
		return l, nil
	}
	conf.MinVersion, conf.CipherSuites = tls.VersionTLS12, suites
	return tls.NewListener(l, conf), nil
}

// modern is the greeting of a client that takes an ECDSA certificate, as every
// browser does: autocert keeps one certificate of each kind.
func modern(name string) *tls.ClientHelloInfo {
	return &tls.ClientHelloInfo{ServerName: name, SupportedCurves: []tls.CurveID{tls.CurveP256},
		SignatureSchemes: []tls.SignatureScheme{tls.ECDSAWithP256AndSHA256}, CipherSuites: []uint16{tls.TLS_ECDHE_ECDSA_WITH_AES_128_GCM_SHA256}}
}

// authority is whom certificates are asked from; nil is autocert's own choice.
func (e encryption) authority() (*acme.Client, error) {
	if e.directory == "" {
		return nil, nil
	}
	client := &acme.Client{DirectoryURL: e.directory, UserAgent: "ullage"}
	if e.roots == "" {
		return client, nil
	}
	text, err := os.ReadFile(e.roots)
	if err != nil {
		return nil, fmt.Errorf("--acme-roots: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("--acme-roots: no certificate (PEM) in %s", e.roots)
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.TLSClientConfig = &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}
	client.HTTPClient = &http.Client{Transport: transport, Timeout: 30 * time.Second}
	return client, nil
}

// suites are those of TLS 1.2 with a fresh key for each connection and
// authenticated encryption. TLS 1.3, which is preferred, has no others.
var suites = []uint16{
	tls.TLS_ECDHE_ECDSA_WITH_AES_256_GCM_SHA384, tls.TLS_ECDHE_RSA_WITH_AES_256_GCM_SHA384,
	tls.TLS_ECDHE_ECDSA_WITH_AES_128_GCM_SHA256, tls.TLS_ECDHE_RSA_WITH_AES_128_GCM_SHA256,
	tls.TLS_ECDHE_ECDSA_WITH_CHACHA20_POLY1305_SHA256, tls.TLS_ECDHE_RSA_WITH_CHACHA20_POLY1305_SHA256,
}

// toTLS sends a person who typed the name to https. A program that sent a token
// or records in the clear is refused, so that it is noticed.
func toTLS(domain string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		page := r.Method == http.MethodGet || r.Method == http.MethodHead
		if !page || strings.HasPrefix(r.URL.Path, "/api/") || r.URL.Path == "/metrics" || r.Header.Get("Authorization") != "" {
			http.Error(w, "this server is asked through https only; what was sent crossed the network in the clear", http.StatusForbidden)
			return
		}
		http.Redirect(w, r, "https://"+domain+r.URL.RequestURI(), http.StatusFound)
	})
}

// certificate is a pair of files, read again when they change: whoever renews
// them need not restart the server.
type certificate struct {
	cert, key string
	log       *slog.Logger
	mu        sync.Mutex
	pair      *tls.Certificate
	changed   time.Time
	looked    time.Time
}

func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.pair != nil && time.Since(c.looked) < time.Minute {
		return c.pair, nil
	}
	c.looked = time.Now()
	info, err := os.Stat(c.cert)
	if err == nil && (c.pair == nil || info.ModTime() != c.changed) {
		var pair tls.Certificate
		if pair, err = tls.LoadX509KeyPair(c.cert, c.key); err == nil {
			c.pair, c.changed = &pair, info.ModTime()
		}
	}
	if err != nil && c.pair != nil { // the one before still serves
		c.log.Error("a new certificate cannot be used", "err", err)
		return c.pair, nil
	}
	return c.pair, err
}

func newLog(w io.Writer, format string, level slog.Level) *slog.Logger {
	opt := &slog.HandlerOptions{Level: level}
	if format == "json" {
		return slog.New(slog.NewJSONHandler(w, opt))
	}
	return slog.New(slog.NewTextHandler(w, opt))
}

// sweep deletes what has expired, every hour.
func sweep(ctx context.Context, a *access.Service, log *slog.Logger) {
	for {
		if err := a.Sweep(ctx); err != nil && ctx.Err() == nil {
			log.Error("sweep", "err", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Hour):
		}
	}
}

// signOnFlags are single sign-on by configuration.
type signOnFlags struct {
	Issuer     string `name:"oidc-issuer" placeholder:"URL" help:"Single sign-on through this OpenID provider. It opens accounts whose name is the e-mail address the provider has verified."`
	ClientID   string `name:"oidc-client-id" placeholder:"ID" help:"This server's id there."`
	SecretFile string `name:"oidc-client-secret-file" placeholder:"FILE" help:"File with its secret there." type:"existingfile"`
	SignOnName string `name:"oidc-name" default:"single sign-on" placeholder:"NAME" help:"What the sign-in page calls it."`
	PublicURL  string `name:"public-url" placeholder:"URL" help:"This server's own address as browsers know it; the provider sends them back to it."`
}

func (f signOnFlags) join(ctx context.Context, server *api.Server) error {
	if f.Issuer == "" {
		return nil
	}
	if f.ClientID == "" || f.PublicURL == "" {
		return errors.New("--oidc-issuer needs --oidc-client-id and --public-url")
	}
	secret := ""
	if f.SecretFile != "" {
		text, err := os.ReadFile(f.SecretFile)
		if err != nil {
			return err
		}
		secret = strings.TrimSpace(string(text))
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	on, err := access.NewOIDC(ctx, server.Access, access.OIDCConfig{Issuer: f.Issuer, ClientID: f.ClientID, ClientSecret: secret, Name: f.SignOnName, PublicURL: f.PublicURL})
	if err == nil {
		server.SignOn = on
	}
	return err
}
