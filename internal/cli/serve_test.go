package cli

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/google/uuid"
)

// The test binary started with this variable is a server: a process of its own,
// so that it can be killed.
const asServer = "ULLAGE_TEST_AS_SERVER"

func init() {
	if os.Getenv(asServer) == "" {
		return
	}
	var c ServeCmd
	k := kong.Must(&c)
	_, err := k.Parse(os.Args[1:])
	if err == nil {
		err = c.Run(&streams{os.Stdin, os.Stdout, os.Stderr})
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

type process struct {
	cmd *exec.Cmd
	url string
	log *bytes.Buffer
}

func startServer(t testing.TB, args ...string) *process {
	t.Helper()
	p := &process{cmd: exec.Command(os.Args[0], args...), log: &bytes.Buffer{}}
	p.cmd.Env = append(os.Environ(), asServer+"=1")
	p.cmd.Stderr = p.log
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if p.cmd.ProcessState == nil {
			_ = p.cmd.Process.Kill()
			_ = p.cmd.Wait()
		}
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	url, ok := strings.CutPrefix(strings.TrimSpace(line), "Ullage is at ")
	if err != nil || !ok {
		_ = p.cmd.Wait()
		t.Fatalf("the server said %q, %v\n%s", line, err, p.log)
	}
	p.url = url
	return p
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }

// put writes one record and gives the status, or 0 if there was no answer.
func (p *process) put(collection, id string, record map[string]any) int {
	record["id"] = id
	body, err := json.Marshal(map[string]any{"base_rev": 0, "record": record})
	if err != nil {
		panic(err)
	}
	req, err := http.NewRequest("PUT", p.url+"/api/v1/"+collection+"/"+id, bytes.NewReader(body))
	if err != nil {
		panic(err)
	}
	req.Header.Set("Content-Type", "application/json")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	if err != nil {
		return 0
	}
	if resp.StatusCode != 200 {
		fmt.Printf("%s %s: %s\n", collection, id, answer)
	}
	return resp.StatusCode
}

// TestKill kills a writing server again and again: every write that was
// answered is there afterwards, once, and what was sent twice is there once.
func TestKill(t *testing.T) {
	rounds := 3
	if os.Getenv("ULLAGE_LONG") != "" {
		rounds = 40
	}
	dir := t.TempDir()
	var mu sync.Mutex
	answered := map[string]bool{}
	var unanswered []string
	for round := range rounds {
		p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", dir)
		// What got no answer is sent again, as a phone would.
		for _, id := range unanswered {
			if code := p.put("tanks", id, tank(id)); code != 200 {
				t.Fatalf("sending again: %d", code)
			}
			answered[id] = true
		}
		unanswered = nil
		var stop atomic.Bool
		var wg sync.WaitGroup
		for range 8 {
			wg.Go(func() {
				for !stop.Load() {
					id := newID()
					code := p.put("tanks", id, tank(id))
					mu.Lock()
					if code == 200 {
						answered[id] = true
					} else {
						unanswered = append(unanswered, id)
						stop.Store(true)
					}
					mu.Unlock()
				}
			})
		}
		time.Sleep(time.Duration(50+37*round) * time.Millisecond)
		if err := p.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = p.cmd.Wait() // it was killed: an error is right
		wg.Wait()
	}
	if len(answered) < 50 {
		t.Fatalf("only %d writes: the test proves nothing", len(answered))
	}
	found := map[string]int{}
	p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", dir)
	for _, id := range unanswered {
		p.put("tanks", id, tank(id))
		answered[id] = true
	}
	eachChange(t, p, func(id string) { found[id]++ })
	for id := range answered {
		if found[id] != 1 {
			t.Fatalf("%s was answered and is there %d times", id, found[id])
		}
	}
	if len(found) != len(answered) {
		t.Errorf("%d records, %d answered", len(found), len(answered))
	}
	t.Logf("%d writes answered over %d kills, none lost, none double", len(answered), rounds)
}

func tank(id string) map[string]any { return map[string]any{"name": id, "kind": "bright_tank"} }

func eachChange(t *testing.T, p *process, do func(id string)) {
	t.Helper()
	since := "0"
	for {
		var page struct {
			Changes []struct {
				Record struct {
					ID string `json:"id"`
				} `json:"record"`
			} `json:"changes"`
			Cursor string `json:"cursor"`
			More   bool   `json:"more"`
		}
		resp, err := http.Get(p.url + "/api/v1/changes?limit=1000&since=" + since)
		if err != nil {
			t.Fatal(err)
		}
		err = json.NewDecoder(resp.Body).Decode(&page)
		resp.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range page.Changes {
			do(c.Record.ID)
		}
		if since = page.Cursor; !page.More {
			return
		}
	}
}

// An interrupted server answers what it has taken, then ends by itself.
func TestInterrupt(t *testing.T) {
	p := startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", t.TempDir())
	resp, err := http.Get(p.url + "/api/v1/stream")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- p.cmd.Wait() }()
	select {
	case err := <-done:
		if err != nil {
			t.Errorf("%v\n%s", err, p.log)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("an open stream keeps the server from ending")
	}
}

func TestSecondServerOnOneFolder(t *testing.T) {
	dir := t.TempDir()
	startServer(t, "--open", "--addr", "127.0.0.1:0", "--data", dir)
	second := exec.Command(os.Args[0], "--addr", "127.0.0.1:0", "--data", dir)
	second.Env = append(os.Environ(), asServer+"=1")
	out, err := second.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "another server has this database open") || !strings.Contains(string(out), "--data") {
		t.Errorf("%v: %s", err, out)
	}
}
