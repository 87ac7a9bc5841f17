package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"ullage/core/way"
)

// features of a batch: words and numbers by what and where.
type features struct {
	words   map[string][]string
	numbers map[string][]float64
	units   map[string]string
	floor   map[string]float64 // differences below it are not looked at
}

func newFeatures() *features {
	return &features{map[string][]string{}, map[string][]float64{}, map[string]string{}, map[string]float64{}}
}

func (f *features) empty() bool { return len(f.words)+len(f.numbers) == 0 }

func (f *features) word(what, of, v string) {
	k := what + "/" + of
	if v != "" && !slices.Contains(f.words[k], v) {
		f.words[k] = append(f.words[k], v)
	}
}

func (f *features) number(what, of string, v *float64, unit string, floor float64) {
	if v == nil {
		return
	}
	k := what + "/" + of
	f.numbers[k] = append(f.numbers[k], *v)
	f.units[k], f.floor[k] = unit, floor
}

// differences lists every feature of now beside the others: what differs first,
// oxygen before the rest.
func differences(now *features, before []*features) []ChangedThing {
	out := []ChangedThing{}
	for k, words := range now.words {
		if c, ok := wordChange(k, words, before); ok {
			out = append(out, c)
		}
	}
	for k, v := range now.numbers {
		if c, ok := numberChange(k, mean(v), now.units[k], now.floor[k], before); ok {
			out = append(out, c)
		}
	}
	order := func(c ChangedThing) int {
		n := 0
		if !c.Differs {
			n += 2
		}
		if c.What != "oxygen" {
			n++
		}
		return n
	}
	slices.SortFunc(out, func(a, b ChangedThing) int {
		return cmp.Or(order(a)-order(b), slices.Index(way.Points, a.Of)-slices.Index(way.Points, b.Of), strings.Compare(a.What+a.Of, b.What+b.Of))
	})
	return out
}

func wordChange(k string, words []string, before []*features) (ChangedThing, bool) {
	what, of, _ := strings.Cut(k, "/")
	slices.Sort(words)
	c := ChangedThing{What: what, Of: of, Now: strings.Join(words, "; ")}
	seen := map[string]int{}
	for _, f := range before {
		if old := f.words[k]; len(old) > 0 {
			slices.Sort(old)
			seen[strings.Join(old, "; ")]++
			c.Batches++
		}
	}
	if c.Batches == 0 {
		return c, false
	}
	most := 0
	for text, n := range seen {
		if n > most || n == most && text < c.Before {
			most, c.Before = n, text
		}
	}
	// Tanks take turns: another one of the same kind is no change.
	c.Differs = seen[c.Now] == 0 && what != "tank" && what != "from_tank"
	return c, true
}

func numberChange(k string, now float64, unit string, floor float64, before []*features) (ChangedThing, bool) {
	what, of, _ := strings.Cut(k, "/")
	var old []float64
	for _, f := range before {
		if v := f.numbers[k]; len(v) > 0 {
			old = append(old, mean(v))
		}
	}
	if len(old) == 0 {
		return ChangedThing{}, false
	}
	usual := middle(old)
	off := make([]float64, len(old))
	for i, v := range old {
		off[i] = math.Abs(v - usual)
	}
	// The scatter of few batches is itself unsure: a tenth of the usual at least.
	scatter := max(1.4826*middle(off), 0.1*math.Abs(usual), floor)
	digits := func(v float64) string {
		if math.Abs(v) >= 1000 {
			return fmt.Sprintf("%.0f %s", v, unit)
		}
		return fmt.Sprintf("%.3g %s", v, unit)
	}
	return ChangedThing{What: what, Of: of, Now: digits(now), Before: digits(usual), Value: &now, Usual: &usual, Unit: unit,
		Differs: math.Abs(now-usual) > 3*scatter || len(old) == 1 && math.Abs(now-usual) > 2*scatter, Batches: len(old)}, true
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// middle is the median.
func middle(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
