package storetest

import (
	"context"
	"encoding/json"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ullage/internal/lab"
)

func testVault(t *testing.T, st lab.Store) {
	ctx, v := context.Background(), st.Vault()
	now := lab.At(at)
	it := lab.Item{Kind: "session", Key: "k1", Owner: "o1", Body: json.RawMessage(`{"a":1}`), Expires: lab.At(at.Add(time.Hour))}
	if err := v.PutItem(ctx, it); err != nil {
		t.Fatal(err)
	}
	want(t, "a second new one of the key", lab.ClassOf(v.PutItem(ctx, it)), lab.Conflict)
	got, err := v.Item(ctx, "session", "k1", now)
	if err != nil || string(got.Body) != `{"a":1}` || got.Owner != "o1" || got.Version != 1 || !got.Expires.Equal(it.Expires.Time) {
		t.Fatalf("%+v, %v", got, err)
	}
	got.Body = json.RawMessage(`{"a":2}`)
	if err := v.PutItem(ctx, got); err != nil {
		t.Fatal(err)
	}
	want(t, "a change on an old version", lab.ClassOf(v.PutItem(ctx, got)), lab.Conflict)
	_, err = v.Item(ctx, "session", "k1", it.Expires)
	want(t, "after it expired", lab.ClassOf(err), lab.NotFound)
	_, err = v.Item(ctx, "token", "k1", now)
	want(t, "another kind", lab.ClassOf(err), lab.NotFound)
	for _, k := range []string{"k3", "k2"} {
		if err := v.PutItem(ctx, lab.Item{Kind: "session", Key: k, Owner: "o2", Body: json.RawMessage(`{}`)}); err != nil {
			t.Fatal(err)
		}
	}
	all, err := v.Items(ctx, "session", "")
	if err != nil || len(all) != 3 || all[1].Key != "k2" {
		t.Fatalf("all: %v, %v", all, err)
	}
	mine, err := v.Items(ctx, "session", "o2")
	if err != nil || len(mine) != 2 {
		t.Fatalf("of one owner: %v, %v", mine, err)
	}
	if err := v.Sweep(ctx, it.Expires); err != nil {
		t.Fatal(err)
	}
	if all, _ = v.Items(ctx, "session", ""); len(all) != 2 {
		t.Errorf("after a sweep: %v", all)
	}
	var dropped atomic.Int64
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			if was, err := v.DropItem(ctx, "session", "k2"); err == nil && was {
				dropped.Add(1)
			}
		})
	}
	wg.Wait()
	want(t, "droppers of one item", dropped.Load(), int64(1))
	head, _ := st.Head(ctx)
	want(t, "position of the records", head, int64(0))
}
