package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"ullage/internal/lab"
)

func TestDemoIsServed(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	r, w := io.Pipe()
	done := make(chan error, 1)
	dir := filepath.Join(t.TempDir(), "new")
	go func() {
		c := DemoCmd{Data: dir, Addr: "127.0.0.1:0"}
		done <- c.run(ctx, &streams{nil, w, io.Discard}, time.Now())
	}()
	var url string
	lines := bufio.NewScanner(r)
	for url == "" && lines.Scan() {
		if u, ok := strings.CutPrefix(lines.Text(), "Ullage is at "); ok {
			url = u
		}
	}
	go func() { _, _ = io.Copy(io.Discard, r) }()
	res, err := http.Get(url + "/api/v1/today")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var today struct{ Runs, Held, Due, Results []json.RawMessage }
	if err := json.NewDecoder(res.Body).Decode(&today); err != nil {
		t.Fatal(err)
	}
	if len(today.Runs) != 1 || len(today.Held) != 1 || len(today.Due) < 3 || len(today.Results) == 0 {
		t.Errorf("today shows %d runs, %d on hold, %d due, %d results", len(today.Runs), len(today.Held), len(today.Due), len(today.Results))
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	left, err := filepath.Glob(filepath.Join(dir, "demo-build-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestDemoKeepsRefusesAndRenews(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	ctx := context.Background()
	run := func(c DemoCmd, at time.Time) (string, error) {
		c.Data, c.BuildOnly = dir, true
		var out bytes.Buffer
		err := c.run(ctx, &streams{nil, &out, io.Discard}, at)
		return out.String(), err
	}
	says := func(out string, err error, want string) {
		t.Helper()
		if err != nil || !strings.Contains(out, want) {
			t.Errorf("said %q, %v, want %q", out, err, want)
		}
	}
	out, err := run(DemoCmd{}, now.Add(-48*time.Hour))
	says(out, err, "143 runs")
	old := fingerprint(t, dir)
	out, err = run(DemoCmd{}, now.Add(-48*time.Hour))
	says(out, err, "is there already")
	out, err = run(DemoCmd{}, now)
	says(out, err, "ends 48 h ago; --fresh")
	if fingerprint(t, dir) != old {
		t.Error("the demo was changed without --fresh")
	}
	out, err = run(DemoCmd{Fresh: true}, now)
	says(out, err, "143 runs")
	if fingerprint(t, dir) == old {
		t.Error("--fresh left the old demo")
	}

	// A folder with other records is left alone, with --fresh too.
	dir = t.TempDir()
	other := database{Data: dir}
	st, err := other.open(ctx)
	must(t, err)
	service := &lab.Service{Store: st}
	a := service.Put(ctx, lab.Write{Kind: lab.KindTanks, ID: newID(), Record: []byte(`{"name":"BBT1","kind":"bright_tank"}`)})
	must(t, errors.Join(a.Err, st.Close()))
	before := fingerprint(t, dir)
	for _, c := range []DemoCmd{{}, {Fresh: true}} {
		if out, err := run(c, now); err == nil || !strings.Contains(err.Error(), "not this demo's") {
			t.Errorf("with another brewery's records: %q, %v", out, err)
		}
	}
	if fingerprint(t, dir) != before {
		t.Error("another brewery's records were changed")
	}
}

func TestDemoCommandLine(t *testing.T) {
	var c struct {
		Demo DemoCmd `cmd:""`
	}
	k := kong.Must(&c, kong.Exit(func(int) { t.Error("the command line was refused") }))
	_, err := k.Parse([]string{"demo", "--data", "d", "--addr", "127.0.0.1:0", "--fresh", "--build-only"})
	must(t, err)
	if !strings.HasSuffix(c.Demo.Data, "/d") || c.Demo.Addr != "127.0.0.1:0" || !c.Demo.Fresh || !c.Demo.BuildOnly {
		t.Errorf("read as %+v", c.Demo)
	}
	_, err = k.Parse([]string{"demo"})
	must(t, err)
	if filepath.Base(c.Demo.Data) != "ullage-demo" || c.Demo.Fresh {
		t.Errorf("without options read as %+v", c.Demo)
	}
}

func fingerprint(t *testing.T, dir string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, "ullage.db"))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
