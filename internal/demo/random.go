package demo

import (
	"encoding/binary"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
)

// stream gives random numbers that depend on the seed and a name only, so that
// a change to one run leaves every other as it was.
func stream(seed uint64, name string) *rand.Rand {
	h := fnv.New64a()
	_, _ = h.Write([]byte(name)) // never fails
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// newID makes a UUID of version 7 whose random bits are the stream's.
func newID(r *rand.Rand, at time.Time) string {
	var u uuid.UUID
	binary.BigEndian.PutUint64(u[:8], uint64(at.UnixMilli())<<16|0x7000|r.Uint64()&0x0fff)
	binary.BigEndian.PutUint64(u[8:], 1<<63|r.Uint64()>>2)
	return u.String()
}

// logNormal has mean 1; s is the standard deviation of its logarithm.
func logNormal(r *rand.Rand, s float64) float64 {
	return math.Exp(s*r.NormFloat64() - s*s/2)
}

func normal(r *rand.Rand, mean, sd float64) float64 { return mean + sd*r.NormFloat64() }

func uniform(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// spreadFactors gives n log-normal factors scaled to a mean of exactly 1, so
// that a line's heads change the spread between packages and not their mean.
func spreadFactors(r *rand.Rand, n int, s float64) []float64 {
	out := make([]float64, n)
	sum := 0.0
	for i := range out {
		out[i] = logNormal(r, s)
		sum += out[i]
	}
	for i := range out {
		out[i] *= float64(n) / sum
	}
	return out
}

// round to a step, as a display does.
func round(x, step float64) float64 {
	// Through the inverse: 0.1 has no exact value, 10 has.
	if step < 1 {
		inverse := math.Round(1 / step)
		return math.Round(x*inverse) / inverse
	}
	return math.Round(x/step) * step
}
