// Package storetest is the contract of a lab.Store as tests, run on every
// database. It does not test the laboratory's rules.
package storetest

import (
	"context"
	"encoding/json"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"ullage/internal/lab"
)

// Run tests stores. open gives a new empty store; the test closes it.
func Run(t *testing.T, open func(*testing.T) lab.Store) {
	for name, test := range map[string]func(*testing.T, lab.Store){
		"append and read":           testAppend,
		"same content is unchanged": testSame,
		"other content clashes":     testClash,
		"a gap is refused":          testGap,
		"revisions in order":        testRevisions,
		"list by id":                testList,
		"list of a run":             testListOfRun,
		"list of a batch":           testListOfBatch,
		"every collection":          testEveryKind,
		"open runs":                 testOpen,
		"changes in order":          testChanges,
		"numbers":                   testNumbers,
		"subscribe":                 testSubscribe,
		"bytes are kept":            testBytes,
		"fifty writers":             testConcurrent,
		"one winner":                testOneWinner,
		"vault":                     testVault,
		"closed":                    testClosed,
	} {
		t.Run(name, func(t *testing.T) {
			st := open(t)
			t.Cleanup(func() { st.Close() })
			test(t, st)
		})
	}
}

var at = time.Date(2026, 11, 5, 9, 40, 0, 123e6, time.UTC)

// Rev makes a revision to append; content decides its hash.
func Rev(k lab.Kind, id string, rev int, content string) lab.Revision {
	body := fmt.Sprintf(`{"id":%q,"rev":%d,"name":%q}`, id, rev, content)
	return lab.Revision{Kind: k, ID: id, Rev: rev, Hash: "h-" + content, Body: json.RawMessage(body),
		By: "Quality tech", DeviceID: "phone-1", DeviceAt: lab.At(at), ServerAt: lab.At(at.Add(time.Second))}
}

// ID makes a new id.
func ID(t testing.TB) string {
	id, err := uuid.NewV7()
	if err != nil {
		t.Fatal(err)
	}
	return id.String()
}

func add(t *testing.T, st lab.Store, revs ...lab.Revision) []lab.Outcome {
	t.Helper()
	outs, err := st.Append(context.Background(), revs)
	if err != nil {
		t.Fatal(err)
	}
	if len(outs) != len(revs) {
		t.Fatalf("%d answers to %d writes", len(outs), len(revs))
	}
	return outs
}

func want(t *testing.T, what string, got, want any) {
	t.Helper()
	if got != want {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func testAppend(t *testing.T, st lab.Store) {
	ctx := context.Background()
	head, err := st.Head(ctx)
	if err != nil || head != 0 {
		t.Fatalf("an empty store has head %d, %v", head, err)
	}
	id := ID(t)
	_, err = st.Get(ctx, lab.KindBeers, id)
	want(t, "class of a missing record", lab.ClassOf(err), lab.NotFound)
	_, err = st.Revisions(ctx, lab.KindBeers, id)
	want(t, "class of missing revisions", lab.ClassOf(err), lab.NotFound)

	in := Rev(lab.KindBeers, id, 1, "Quernlight")
	out := add(t, st, in)[0]
	want(t, "status", out.Status, lab.Created)
	if out.Current.Seq < 1 {
		t.Errorf("position %d", out.Current.Seq)
	}
	got, err := st.Get(ctx, lab.KindBeers, id)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, got, in)
	want(t, "position", got.Seq, out.Current.Seq)
	_, err = st.Get(ctx, lab.KindTanks, id)
	want(t, "the same id in another collection", lab.ClassOf(err), lab.NotFound)
	if err := st.Ping(ctx); err != nil {
		t.Error(err)
	}
}

func equal(t *testing.T, got, in lab.Revision) {
	t.Helper()
	want(t, "kind", got.Kind, in.Kind)
	want(t, "id", got.ID, in.ID)
	want(t, "rev", got.Rev, in.Rev)
	want(t, "run", got.RunID, in.RunID)
	want(t, "open", got.Open, in.Open)
	want(t, "hash", got.Hash, in.Hash)
	want(t, "body", string(got.Body), string(in.Body))
	want(t, "by", got.By, in.By)
	want(t, "device", got.DeviceID, in.DeviceID)
	if !got.DeviceAt.Equal(in.DeviceAt.Time) || !got.ServerAt.Equal(in.ServerAt.Time) {
		t.Errorf("times %v, %v; want %v, %v", got.DeviceAt, got.ServerAt, in.DeviceAt, in.ServerAt)
	}
}

func testSame(t *testing.T, st lab.Store) {
	id := ID(t)
	add(t, st, Rev(lab.KindBeers, id, 1, "a"))
	out := add(t, st, Rev(lab.KindBeers, id, 1, "a"))[0]
	want(t, "status of a repeat", out.Status, lab.Same)
	want(t, "revision after it", out.Current.Rev, 1)
	add(t, st, Rev(lab.KindBeers, id, 2, "b"))
	out = add(t, st, Rev(lab.KindBeers, id, 1, "a"))[0]
	want(t, "status of a late repeat", out.Status, lab.Same)
	want(t, "newest revision", out.Current.Rev, 2)
	head, _ := st.Head(context.Background())
	revs, err := st.Changes(context.Background(), 0, "", 10)
	if err != nil || len(revs) != 2 || revs[1].Seq != head {
		t.Errorf("%d revisions stored, %v; want 2", len(revs), err)
	}
}

func testClash(t *testing.T, st lab.Store) {
	id := ID(t)
	outs := add(t, st, Rev(lab.KindBeers, id, 1, "a"), Rev(lab.KindBeers, id, 1, "b"), Rev(lab.KindBeers, id, 2, "c"))
	want(t, "first", outs[0].Status, lab.Created)
	want(t, "other content", outs[1].Status, lab.Clash)
	want(t, "content that stands", outs[1].Current.Hash, "h-a")
	want(t, "next in the same request", outs[2].Status, lab.Updated)
	got, err := st.Get(context.Background(), lab.KindBeers, id)
	if err != nil {
		t.Fatal(err)
	}
	want(t, "newest", got.Hash, "h-c")
}

func testGap(t *testing.T, st lab.Store) {
	id := ID(t)
	want(t, "revision 2 of nothing", add(t, st, Rev(lab.KindBeers, id, 2, "a"))[0].Status, lab.Clash)
	add(t, st, Rev(lab.KindBeers, id, 1, "a"))
	want(t, "revision 3 after 1", add(t, st, Rev(lab.KindBeers, id, 3, "c"))[0].Status, lab.Clash)
}

func testRevisions(t *testing.T, st lab.Store) {
	id := ID(t)
	for i := 1; i <= 5; i++ {
		add(t, st, Rev(lab.KindSamples, id, i, fmt.Sprint(i)))
	}
	revs, err := st.Revisions(context.Background(), lab.KindSamples, id)
	if err != nil || len(revs) != 5 {
		t.Fatalf("%d revisions, %v", len(revs), err)
	}
	for i, r := range revs {
		want(t, "rev", r.Rev, i+1)
	}
}

func testList(t *testing.T, st lab.Store) {
	ctx := context.Background()
	var ids []string
	for range 7 {
		id := ID(t)
		ids = append(ids, id)
		add(t, st, Rev(lab.KindBeers, id, 1, id), Rev(lab.KindTanks, ID(t), 1, "x"))
	}
	var got []string
	q := lab.Query{Kind: lab.KindBeers, Limit: 3}
	for range 3 {
		revs, err := st.List(ctx, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range revs {
			got = append(got, r.ID)
			q.After = r.ID
		}
	}
	want(t, "pages", fmt.Sprint(got), fmt.Sprint(ids))
	revs, err := st.List(ctx, lab.Query{Kind: lab.KindBeers, Limit: 2, Desc: true, After: ids[3]})
	if err != nil || len(revs) != 2 {
		t.Fatalf("%d, %v", len(revs), err)
	}
	want(t, "newest first", revs[0].ID+revs[1].ID, ids[2]+ids[1])
}

func testListOfRun(t *testing.T, st lab.Store) {
	run, other := ID(t), ID(t)
	for i := range 6 {
		r := Rev(lab.KindSamples, ID(t), 1, fmt.Sprint(i))
		if r.RunID = run; i%2 == 1 {
			r.RunID = other
		}
		add(t, st, r)
	}
	revs, err := st.List(context.Background(), lab.Query{Kind: lab.KindSamples, RunID: run, Limit: 10})
	if err != nil || len(revs) != 3 {
		t.Fatalf("%d samples of the run, %v; want 3", len(revs), err)
	}
	for _, r := range revs {
		want(t, "run", r.RunID, run)
	}
}

// A reading entered for the wrong batch is found under the right one after its
// correction, and brews and readings of one batch do not mix.
func testListOfBatch(t *testing.T, st lab.Store) {
	wrong, right := ID(t), ID(t)
	brew := Rev(lab.KindBrews, ID(t), 1, "brew")
	brew.RunID = right
	r := Rev(lab.KindReadings, ID(t), 1, "a")
	r.RunID = wrong
	corrected := Rev(lab.KindReadings, r.ID, 2, "b")
	corrected.RunID = right
	add(t, st, brew, r, corrected)
	for batch, n := range map[string]int{wrong: 0, right: 1} {
		revs, err := st.List(context.Background(), lab.Query{Kind: lab.KindReadings, RunID: batch, Limit: 10})
		if err != nil || len(revs) != n {
			t.Fatalf("%d readings, %v; want %d", len(revs), err, n)
		}
	}
	changes, err := st.Changes(context.Background(), 0, right, 10)
	if err != nil || len(changes) != 2 {
		t.Errorf("%d changes of the batch, %v; want its brew and the corrected reading", len(changes), err)
	}
}

// testEveryKind keeps collections apart under one id.
func testEveryKind(t *testing.T, st lab.Store) {
	id := ID(t)
	for _, k := range lab.Kinds() {
		add(t, st, Rev(k, id, 1, string(k)))
	}
	for _, k := range lab.Kinds() {
		got, err := st.Get(context.Background(), k, id)
		if err != nil {
			t.Fatal(err)
		}
		equal(t, got, Rev(k, id, 1, string(k)))
	}
}

func testOpen(t *testing.T, st lab.Store) {
	id := ID(t)
	r := Rev(lab.KindRuns, id, 1, "going")
	r.Open, r.RunID = true, id
	add(t, st, r, Rev(lab.KindRuns, ID(t), 1, "ended"))
	q := lab.Query{Kind: lab.KindRuns, Open: true, Limit: 10}
	if revs, err := st.List(context.Background(), q); err != nil || len(revs) != 1 || revs[0].ID != id {
		t.Fatalf("%v, %v; want the one run going", revs, err)
	}
	ended := Rev(lab.KindRuns, id, 2, "ended")
	ended.RunID = id
	add(t, st, ended)
	if revs, err := st.List(context.Background(), q); err != nil || len(revs) != 0 {
		t.Fatalf("%v, %v; want none after the end", revs, err)
	}
}

func testChanges(t *testing.T, st lab.Store) {
	ctx := context.Background()
	run := ID(t)
	for i := range 10 {
		r := Rev(lab.KindSamples, ID(t), 1, fmt.Sprint(i))
		if i%2 == 0 {
			r.RunID = run
		}
		add(t, st, r)
	}
	first, err := st.Changes(ctx, 0, "", 4)
	if err != nil || len(first) != 4 {
		t.Fatalf("%d, %v", len(first), err)
	}
	rest, err := st.Changes(ctx, first[3].Seq, "", 100)
	if err != nil || len(rest) != 6 {
		t.Fatalf("%d, %v", len(rest), err)
	}
	for i, r := range append(first, rest...) {
		want(t, "order", r.Hash, fmt.Sprintf("h-%d", i))
	}
	ofRun, err := st.Changes(ctx, first[0].Seq, run, 100)
	if err != nil || len(ofRun) != 4 {
		t.Fatalf("%d changes of the run after its first, %v; want 4", len(ofRun), err)
	}
}

func testNumbers(t *testing.T, st lab.Store) {
	ctx := context.Background()
	var mu sync.Mutex
	seen := map[int]bool{}
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			n, err := st.NextNumber(ctx, "run")
			mu.Lock()
			defer mu.Unlock()
			if err != nil || seen[n] || n < 1 {
				t.Errorf("number %d, %v", n, err)
			}
			seen[n] = true
		})
	}
	wg.Wait()
	if err := st.RaiseNumber(ctx, "run", 100); err != nil {
		t.Fatal(err)
	}
	if err := st.RaiseNumber(ctx, "run", 50); err != nil {
		t.Fatal(err)
	}
	n, err := st.NextNumber(ctx, "run")
	if err != nil || n != 101 {
		t.Errorf("after 100 comes %d, %v", n, err)
	}
	n, err = st.NextNumber(ctx, "other")
	if err != nil || n != 1 {
		t.Errorf("another name begins at %d, %v", n, err)
	}
}

func testSubscribe(t *testing.T, st lab.Store) {
	ch, cancel := st.Subscribe()
	defer cancel()
	id := ID(t)
	add(t, st, Rev(lab.KindBeers, id, 1, "a"))
	select {
	case <-ch:
	case <-time.After(5 * time.Second):
		t.Fatal("no signal after a write")
	}
}

func testBytes(t *testing.T, st lab.Store) {
	r := Rev(lab.KindBeers, ID(t), 1, "x")
	r.Body = json.RawMessage(`{ "b":1.0, "a":"mø\u00e9 ' \" \\ 🍺","num":0.10000000000000001}`)
	r.DeviceAt = lab.Time{}
	add(t, st, r)
	got, err := st.Get(context.Background(), lab.KindBeers, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	want(t, "body", string(got.Body), string(r.Body))
	want(t, "no device time", got.DeviceAt.IsZero(), true)
}

// Each of fifty clients writes its own records; every answer must be found.
func testConcurrent(t *testing.T, st lab.Store) {
	ctx := context.Background()
	var wg sync.WaitGroup
	for c := range 50 {
		wg.Go(func() {
			for i := range 10 {
				r := Rev(lab.KindSamples, ID(t), 1, fmt.Sprintf("%d-%d", c, i))
				outs, err := st.Append(ctx, []lab.Revision{r})
				if err != nil || outs[0].Status != lab.Created {
					t.Errorf("client %d: %v %v", c, outs, err)
					return
				}
				if got, err := st.Get(ctx, r.Kind, r.ID); err != nil || got.Hash != r.Hash {
					t.Errorf("client %d does not read what it wrote: %v", c, err)
				}
			}
		})
	}
	wg.Wait()
	revs, err := st.Changes(ctx, 0, "", 1000)
	if err != nil || len(revs) != 500 {
		t.Fatalf("%d stored, %v; want 500", len(revs), err)
	}
}

// Twenty clients correct the same revision with different content: one wins,
// the others are told.
func testOneWinner(t *testing.T, st lab.Store) {
	id := ID(t)
	add(t, st, Rev(lab.KindSamples, id, 1, "first"))
	var mu sync.Mutex
	count := map[lab.Status]int{}
	var wg sync.WaitGroup
	for i := range 20 {
		wg.Go(func() {
			outs, err := st.Append(context.Background(), []lab.Revision{Rev(lab.KindSamples, id, 2, fmt.Sprint(i))})
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
				return
			}
			count[outs[0].Status]++
		})
	}
	wg.Wait()
	if count[lab.Updated] != 1 || count[lab.Clash] != 19 {
		t.Errorf("%v; want one winner", count)
	}
}

func testClosed(t *testing.T, st lab.Store) {
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := st.Append(context.Background(), []lab.Revision{Rev(lab.KindBeers, ID(t), 1, "a")}); err == nil {
		t.Error("a closed store took a write")
	}
}
