package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sort"
	"testing"
)

func TestTune(t *testing.T) {
	if os.Getenv("TUNE") == "" {
		t.Skip()
	}
	for _, s := range []sim{
		{line: canLine, minutes: 200, every: 20, perSet: 3, pair: true},
		{line: canLine, minutes: 240, every: 30, perSet: 6},
		{line: canLine, minutes: 400, every: 12, perSet: 6},
		{line: bottleLine, minutes: 200, every: 20, perSet: 4, pair: true},
		{line: bottleLine, minutes: 400, every: 30, perSet: 16},
	} {
		s.events = []Event{{Stop, minute(60)}, {Restart, minute(66)}, {TankChange, minute(100)}}
		var ev [3][]float64
		fam := map[string]int{}
		for k := range 400 {
			rng := rand.New(rand.NewPCG(1, uint64(k)))
			x := s.run(rng)
			r := newRun(&x.Input, mustRules())
			for c := range 3 {
				f := r.frame(c)
				if f.n < 6 {
					continue
				}
				tm, e := newScanner(r, f).best(newFit(f, nuisances(f)))
				ev[c] = append(ev[c], math.Max(e, -5))
				if e > 3 {
					fam[fmt.Sprint(c, " ", tm.family)]++
				}
			}
		}
		for c := range 3 {
			e := ev[c]
			if len(e) == 0 {
				continue
			}
			sort.Float64s(e)
			q := func(p float64) float64 { return e[int(p*float64(len(e)-1))] }
			fmt.Printf("%d n=%d  50%% %.2f 80%% %.2f 90%% %.2f 95%% %.2f 97%% %.2f 99%% %.2f\n", c, len(e), q(.5), q(.8), q(.9), q(.95), q(.97), q(.99))
		}
		fmt.Println(fam)
	}
}

func mustRules() Rules { r, _ := Rules{}.complete(); return r }
