package verdict

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"
)

func TestTune(t *testing.T) {
	if os.Getenv("TUNE") == "" {
		t.Skip()
	}
	const runs = 500
	for _, s := range []sim{
		{line: canLine, minutes: 200, every: 20, perSet: 3, pair: true},
		{line: canLine, minutes: 240, every: 30, perSet: 6},
		{line: canLine, minutes: 400, every: 12, perSet: 6, pair: true},
		{line: bottleLine, minutes: 200, every: 20, perSet: 4, pair: true},
		{line: bottleLine, minutes: 400, every: 30, perSet: 16},
	} {
		s.events = []Event{{Stop, minute(60)}, {Restart, minute(66)}, {TankChange, minute(100)}}
		fam := map[string]int{}
		alarms := 0
		for k := range runs {
			rng := rand.New(rand.NewPCG(1, uint64(k)))
			x := s.run(rng)
			j, err := Judge(x.Input)
			if err != nil {
				t.Fatal(err)
			}
			if len(j.Causes) > 0 {
				alarms++
			}
			for _, c := range j.Causes {
				fam[c.Kind]++
			}
		}
		fmt.Printf("false alarms %.1f %%  %v\n", 100*float64(alarms)/runs, fam)
	}
}
