package cli

import (
	"bufio"
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// selfSigned writes a certificate for this machine and its key.
func selfSigned(t *testing.T, dir string) (cert, key string, pool *x509.CertPool) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err1 := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &k.PublicKey, k)
	kder, err2 := x509.MarshalPKCS8PrivateKey(k)
	cert, key = filepath.Join(dir, "c.pem"), filepath.Join(dir, "k.pem")
	err3 := os.WriteFile(cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600)
	err4 := os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: kder}), 0o600)
	for _, err := range []error{err1, err2, err3, err4} {
		if err != nil {
			t.Fatal(err)
		}
	}
	pool = x509.NewCertPool()
	c, _ := x509.ParseCertificate(der)
	pool.AddCert(c)
	return cert, key, pool
}

// A server with TLS and sign-in, from the terminal's link to the last line of
// its log: cookies bound to the host, HTTP/2, no old TLS, and no secret written.
func TestServeTLSAndLog(t *testing.T) {
	dir := t.TempDir()
	cert, key, pool := selfSigned(t, dir)
	cmd := exec.Command(os.Args[0], "--addr", "127.0.0.1:0", "--data", filepath.Join(dir, "data"), "--tls-cert", cert, "--tls-key", key, "--log-format", "json", "--log-level", "debug")
	cmd.Env = append(os.Environ(), asServer+"=1")
	var log bytes.Buffer
	cmd.Stderr = &log
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	lines := bufio.NewScanner(out)
	url, link := "", ""
	for link == "" && lines.Scan() {
		if s, ok := strings.CutPrefix(lines.Text(), "Ullage is at "); ok {
			url = s
		}
		_, link, _ = strings.Cut(lines.Text(), "/sign-in#link=")
	}
	if !strings.HasPrefix(url, "https://127.0.0.1:") || link == "" {
		t.Fatalf("%q %q %s", url, link, &log)
	}
	jar, _ := cookiejar.New(nil)
	client := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, ForceAttemptHTTP2: true}}
	const password = "eleven casks of old ale"
	post := func(path string, body map[string]any) *http.Response {
		t.Helper()
		text, _ := json.Marshal(body)
		resp, err := client.Post(url+"/api/v1"+path, "application/json", bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		answer, _ := io.ReadAll(resp.Body)
		if path == "/tokens" {
			resp.Header.Set("X-Test-Body", string(answer))
		}
		return resp
	}
	resp := post("/session/accept", map[string]any{"link": link, "password": password, "name": "boss", "person_name": "Brewmaster"})
	if c := resp.Cookies(); resp.StatusCode != 200 || len(c) != 1 || c[0].Name != "__Host-ullage" || !c[0].Secure || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode {
		t.Fatalf("%d %v", resp.StatusCode, c)
	}
	if resp.ProtoMajor != 2 || resp.Header.Get("Strict-Transport-Security") == "" || len(resp.Header.Get("X-Request-Id")) != 16 {
		t.Errorf("%s %v", resp.Proto, resp.Header)
	}
	session := resp.Cookies()[0].Value
	tok := post("/tokens", map[string]any{"name": "probe", "roles": []string{"read"}, "days": 1})
	token := regexp.MustCompile(`ullage_[\w-]{20,}`).FindString(tok.Header.Get("X-Test-Body"))
	post("/session", map[string]any{"name": "boss", "password": "mistyped my password"})
	req, _ := http.NewRequest("GET", url+"/api/v1/runs?after="+"secret-in-query", nil)
	req.Header.Set("Authorization", "Bearer "+token)
	if resp, err := client.Do(req); err != nil || resp.StatusCode != 200 {
		t.Errorf("by token: %v %v", resp, err)
	}
	if _, err := tls.Dial("tcp", strings.TrimPrefix(url, "https://"), &tls.Config{RootCAs: pool, MaxVersion: tls.VersionTLS11}); err == nil {
		t.Error("TLS 1.1 is spoken")
	}
	old := &tls.Config{RootCAs: pool, MaxVersion: tls.VersionTLS12, CipherSuites: []uint16{tls.TLS_ECDHE_ECDSA_WITH_AES_128_CBC_SHA}}
	if _, err := tls.Dial("tcp", strings.TrimPrefix(url, "https://"), old); err == nil {
		t.Error("a cipher without authenticated encryption is spoken")
	}
	if c, err := tls.Dial("tcp", strings.TrimPrefix(url, "https://"), &tls.Config{RootCAs: pool}); err != nil || c.ConnectionState().Version != tls.VersionTLS13 {
		t.Errorf("TLS 1.3 is not preferred: %v", err)
	}
	_ = cmd.Process.Signal(syscall.SIGTERM)
	_, _ = io.Copy(io.Discard, out)
	_ = cmd.Wait()
	for name, secret := range map[string]string{"password": password, "wrong password": "mistyped", "link": link, "session": session, "token": token, "query": "secret-in-query"} {
		if secret == "" || strings.Contains(log.String(), secret) {
			t.Errorf("the %s stands in the log", name)
		}
	}
	requests := 0
	for _, line := range strings.Split(strings.TrimSpace(log.String()), "\n") {
		var e map[string]any
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if e["msg"] == "request" && len(e["request"].(string)) == 16 {
			requests++
		}
	}
	if requests < 4 {
		t.Errorf("%d requests in the log:\n%s", requests, &log)
	}
}

func TestServeRefusesHalfTLS(t *testing.T) {
	dir := t.TempDir()
	cert, key, _ := selfSigned(t, dir)
	for _, args := range [][]string{{"--tls-cert", cert}, {"--tls-key", key}, {"--tls-cert", key, "--tls-key", cert}, {"--tls-cert", cert, "--tls-key", key, "--domain", "x.example"},
		{"--oidc-issuer", "http://127.0.0.1:1"}} {
		command(t, 1, append([]string{"serve", "--addr", "127.0.0.1:0", "--data", filepath.Join(dir, "d")}, args...)...)
	}
}

// The first link is at the address that browsers know, not at the one behind the
// proxy.
func TestPublicAddress(t *testing.T) {
	at := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8020}
	proxied := site{hosts: []string{"oxygen.ostrelweir.example"}}
	named := proxied
	named.signOn.PublicURL = "https://oxygen.ostrelweir.example:8443/"
	for want, c := range map[string]site{
		"http://127.0.0.1:8020":                  {},
		"https://oxygen.ostrelweir.example":      proxied,
		"https://oxygen.ostrelweir.example:8443": named,
	} {
		if got := c.public(at); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
	if got := (site{}).public(&net.TCPAddr{IP: net.IPv4zero, Port: 8020}); got != "http://localhost:8020" {
		t.Error(got)
	}
}

// Port 80 sends people on, and tells programs that they spoke in the clear.
func TestPort80(t *testing.T) {
	h := toTLS("oxygen.ostrelweir.example")
	for _, c := range []struct {
		method, path, token string
		want                int
	}{{"GET", "/runs?x=1", "", 302}, {"GET", "/api/v1/runs", "", 403}, {"POST", "/", "", 403}, {"GET", "/", "Bearer x", 403}, {"GET", "/metrics", "", 403}} {
		r := httptest.NewRequest(c.method, "http://evil.example"+c.path, nil)
		if c.token != "" {
			r.Header.Set("Authorization", c.token)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if to := w.Header().Get("Location"); w.Code != c.want || c.want == 302 && to != "https://oxygen.ostrelweir.example/runs?x=1" {
			t.Errorf("%+v: %d to %q", c, w.Code, to)
		}
	}
}
