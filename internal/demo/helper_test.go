package demo

import (
	"math"
	"slices"
)

// sample of numbers.
type sample []float64

func (s sample) mean() float64 {
	sum := 0.0
	for _, x := range s {
		sum += x
	}
	return sum / float64(len(s))
}

func (s sample) sd() float64 {
	m, sum := s.mean(), 0.0
	for _, x := range s {
		sum += (x - m) * (x - m)
	}
	return math.Sqrt(sum / float64(len(s)-1))
}

func (s sample) quantile(p float64) float64 {
	sorted := slices.Sorted(slices.Values(s))
	return sorted[int(p*float64(len(sorted)-1))]
}
