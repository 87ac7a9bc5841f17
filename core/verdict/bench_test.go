package verdict

import (
	"math/rand/v2"
	"strconv"
	"testing"
)

// BenchmarkJudge is a run of so many samples with a bad head, a drift and three
// stops.
func BenchmarkJudge(b *testing.B) {
	for _, n := range []int{200, 500, 5000} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			in := faulty(n)
			for b.Loop() {
				if _, err := Judge(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func faulty(n int) Input {
	s := sim{line: canLine, minutes: float64(n)/6*5 + 1.5, every: 5, perSet: 6, pair: true}
	end := s.minutes
	s.fault = func(at float64, h, _ int) (float64, float64, float64, float64) {
		fill := 1.0
		if h == 4 && at > end/3 && at < 2*end/3 {
			fill = 3.5
		}
		return 40 * at / end, 0, fill, 1
	}
	for _, share := range []float64{0.2, 0.5, 0.8} {
		s.events = append(s.events, Event{Stop, minute(share * end)}, Event{Restart, minute(share*end + 3)})
	}
	return s.run(rand.New(rand.NewPCG(5, 5))).Input
}
