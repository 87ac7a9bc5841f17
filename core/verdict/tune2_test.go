package verdict

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"
)

func TestPowerQuick(t *testing.T) {
	if os.Getenv("TUNE") == "" {
		t.Skip()
	}
	for _, x := range scenes()[4:] {
		fmt.Printf("%-20s", x.name)
		for _, k := range []float64{4, 5} {
			named := 0
			s := x.withEffect(k)
			for i := range 150 {
				r := s.run(rand.New(rand.NewPCG(uint64(10*k), uint64(i))))
				rr := newRun(&r.Input, mustRules())
				list, _ := rr.causes()
				for j := range list {
					if x.right(rr.cause(&list[j])) {
						named++
						break
					}
				}
			}
			fmt.Printf("  %g: %3.0f %%", k, 100*float64(named)/150)
		}
		fmt.Println()
	}
}

func mustRules() Rules { r, _ := Rules{}.complete(); return r }
