package demo

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"ullage/internal/lab"
)

// Name of the invented brewery; tells its database from a real one.
const Name = "Ostrelweir Brewhouse"

// DefaultSeed of the story.
const DefaultSeed = 1

// Options say which brewery is built.
type Options struct {
	Seed uint64
	// Now is the moment that the story ends in. Its location is the brewery's
	// time zone.
	Now time.Time
}

// Summary says what was written.
type Summary struct {
	Runs, Samples, Events  int
	Brews, Moves, Readings int
	// Scripted gives the id of each scripted run, R1 to R12.
	Scripted map[string]string
	// Stories gives the id of the batch of each story of the cellar, T1 to T4.
	Stories map[string]string
	Going   string // id of the run going on
	Held    string // id of the run whose lot is on hold
}

// Fill writes the brewery into an empty database. It refuses one that holds
// anything. It takes a few seconds.
func Fill(ctx context.Context, store lab.Store, o Options) (Summary, error) {
	head, err := store.Head(ctx)
	if err != nil {
		return Summary{}, err
	}
	if head != 0 {
		return Summary{}, &lab.Error{Class: lab.Invalid, Faults: []lab.Fault{{Field: "database", Value: head,
			Message: "revisions are in it already", Mend: "fill an empty database"}}}
	}
	b := newBuilder(o)
	b.setUp()
	b.history()
	b.scripted()
	b.goingOn()
	b.checks()
	b.judged()
	b.studies()
	b.cellar()
	return b.sum, b.journal.play(ctx, store)
}

// builder tells the story into a journal.
type builder struct {
	journal
	seed       uint64
	now        time.Time
	begins     time.Time // Monday of the first week
	plants     map[string]plant
	ids        map[string]string // key of a record → its id
	idBits     *rand.Rand
	cellarBits *rand.Rand // ids of the cellar's records
	batch      int
	tank       int
	brights    []*bright
	soon       []written // let go before the check after them
	sum        Summary
}

// historyWeeks before the scripted runs, five runs each.
const historyWeeks = 26

func newBuilder(o Options) *builder {
	b := &builder{seed: o.Seed, now: o.Now.Truncate(time.Minute), ids: map[string]string{},
		plants: plants(stream(o.Seed, "plants")), idBits: stream(o.Seed, "ids"), cellarBits: stream(o.Seed, "cellar ids")}
	b.sum.Scripted, b.sum.Stories = map[string]string{}, map[string]string{}
	first := b.workday(9) // of the scripted runs
	monday := first.AddDate(0, 0, -(int(first.Weekday())+6)%7)
	b.begins = monday.AddDate(0, 0, -7*historyWeeks)
	return b
}

// workday is midnight of the nth working day before today.
func (b *builder) workday(n int) time.Time {
	y, m, d := b.now.Date()
	day := time.Date(y, m, d, 0, 0, 0, 0, b.now.Location())
	for n > 0 {
		day = day.AddDate(0, 0, -1)
		if w := day.Weekday(); w != time.Saturday && w != time.Sunday {
			n--
		}
	}
	return day
}

// week is the number, from 1, of the week of the story that t is in.
func (b *builder) week(t time.Time) int { return int(t.Sub(b.begins).Hours()/(7*24)) + 1 }

func (b *builder) id(at time.Time) string { return newID(b.idBits, at) }

// named gives a key an id of its own.
func (b *builder) named(key string, at time.Time) string {
	id := b.id(at)
	b.ids[key] = id
	return id
}

func (b *builder) ref(key string) string {
	id, ok := b.ids[key]
	if !ok {
		panic(fmt.Sprintf("demo: %q is used before it is made", key))
	}
	return id
}

// meta is what every record has: its writer, the device and the device's clock.
func meta(id, by, device string, at time.Time) lab.Meta {
	return lab.Meta{ID: id, By: by, DeviceID: device, DeviceAt: lab.At(at)}
}

// minutes after t, to the second.
func minutes(t time.Time, m float64) time.Time {
	return t.Add(time.Duration(m*60) * time.Second)
}
