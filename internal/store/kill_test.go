package store

import (
	"bufio"
	"context"
	"fmt"
	"os"
	osexec "os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"ullage/internal/lab"
	"ullage/internal/store/storetest"
)

// The test binary started with this variable writes until it is killed: records
// numbered from the second argument on, and the number of each on its output
// once it was answered.
const asWriter = "ULLAGE_TEST_AS_WRITER"

func init() {
	if os.Getenv(asWriter) == "" {
		return
	}
	st, err := OpenSQLite(context.Background(), os.Args[1], SQLiteOptions{})
	n, _ := strconv.Atoi(os.Args[2])
	for ; err == nil; n++ {
		rev := storetest.Rev(lab.KindSamples, numbered(n), 1, fmt.Sprint(n))
		rev.Body = []byte(fmt.Sprintf(`{"id":%q,"rev":1,"by":%q,"device_id":%q}`, rev.ID, rev.By, rev.DeviceID))
		if _, err = st.Append(context.Background(), []lab.Revision{rev}); err == nil {
			fmt.Println(n)
		}
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}

func numbered(n int) string { return fmt.Sprintf("0198c5b0-0000-7000-8000-%012d", n) }

// TestFiveHundredKills kills a writer without warning, 500 times, each time in
// the middle of its writes. What was answered is there, once; what was not is
// sent again by the next, and is there once too; the chain holds.
func TestFiveHundredKills(t *testing.T) {
	kills := 500
	if testing.Short() {
		kills = 20
	}
	path := filepath.Join(t.TempDir(), "ullage.db")
	next := 0 // the first number that was not answered
	for k := range kills {
		next = killed(t, path, next, time.Duration(k%7)*time.Millisecond)
	}
	st, err := OpenSQLite(t.Context(), path, SQLiteOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	times := map[string]int{}
	for after := int64(0); ; {
		revs, err := st.Changes(t.Context(), after, "", 1000)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range revs {
			times[r.ID]++
			after = r.Seq
		}
		if len(revs) == 0 {
			break
		}
	}
	for n := range next {
		if times[numbered(n)] != 1 {
			t.Fatalf("number %d was answered and is there %d times", n, times[numbered(n)])
		}
	}
	// The last writer may have stored one that it did not live to answer.
	if len(times) != next && len(times) != next+1 {
		t.Errorf("%d records, %d answered", len(times), next)
	}
	if v := verify(t, st); len(v.Broken) > 0 {
		t.Errorf("the chain: %+v", v.Broken)
	}
	if next < kills {
		t.Errorf("only %d writes over %d kills: the test proves little", next, kills)
	}
	t.Logf("%d writes answered over %d kills, none lost, none double", next, kills)
}

// killed starts a writer, lets it answer some writes, kills it after a while more
// and gives the first number that was not answered.
func killed(t *testing.T, path string, next int, more time.Duration) int {
	t.Helper()
	cmd := osexec.Command(os.Args[0], path, strconv.Itoa(next))
	cmd.Env = append(os.Environ(), asWriter+"=1")
	var said strings.Builder
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	if !lines.Scan() {
		_ = cmd.Wait()
		t.Fatalf("the writer answered nothing: %s", said.String())
	}
	last := lines.Text()
	time.AfterFunc(more, func() { _ = cmd.Process.Kill() })
	for lines.Scan() {
		last = lines.Text()
	}
	_ = cmd.Wait() // it was killed: an error is right
	n, err := strconv.Atoi(last)
	if err != nil || n < next {
		t.Fatalf("the writer said %q after %d", last, next)
	}
	return n + 1
}
