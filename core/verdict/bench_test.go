package verdict

import (
	"math/rand/v2"
	"runtime"
	"strconv"
	"sync"
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

// BenchmarkThousand is a thousand runs of 200 samples, one in two with a fault, on
// all processors: what setting rules by simulation costs. The core itself has one
// thread.
func BenchmarkThousand(b *testing.B) {
	good, bad := sim{line: canLine, minutes: 170, every: 5, perSet: 6, pair: true}, faultyLine(200)
	for b.Loop() {
		jobs := make(chan uint64)
		var all sync.WaitGroup
		for range runtime.GOMAXPROCS(0) {
			all.Go(func() {
				for i := range jobs {
					s := good
					if i%2 == 1 {
						s = bad
					}
					if _, err := Judge(s.run(rand.New(rand.NewPCG(6, i))).Input); err != nil {
						b.Error(err)
					}
				}
			})
		}
		for i := range uint64(1000) {
			jobs <- i
		}
		close(jobs)
		all.Wait()
	}
}

func faulty(n int) Input { return faultyLine(n).run(rand.New(rand.NewPCG(5, 5))).Input }

func faultyLine(n int) sim {
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
	return s
}
