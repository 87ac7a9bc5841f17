package uncertainty

import (
	"math"
	"math/bits"
)

// source is xoshiro256++ (Blackman & Vigna, ACM Trans. Math. Softw. 47:36,
// 2021): a trial needs a dozen numbers, and a call through math/rand/v2's Source
// costs more than the number.
type source struct{ a, b, c, d uint64 }

// newSource starts a stream for a block of a seed: SplitMix64 fills the state,
// as the authors advise, and mixes seed and block so that no two streams meet.
func newSource(seed, block uint64) *source {
	z := mix(seed) ^ mix(^block)
	next := func() uint64 {
		z += 0x9e3779b97f4a7c15
		return mix(z)
	}
	return &source{next(), next(), next(), next()}
}

// mix is the output function of SplitMix64 (Steele, Lea & Flood 2014).
func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// Uint64 makes source a rand.Source too, for gonum's distributions.
func (s *source) Uint64() (out uint64) {
	out, s.a, s.b, s.c, s.d = step(s.a, s.b, s.c, s.d)
	return out
}

// uniform is in [0, 1), with 53 bits.
func (s *source) uniform() float64 { return float64(s.Uint64()>>11) * 0x1p-53 }

// normal draws from the standard normal distribution by the ziggurat of
// Marsaglia & Tsang, J. Stat. Softw. 5(8), 2000, with 256 layers. Layer and
// place come from different bits of one number.
func (s *source) normal() float64 {
	u := s.Uint64()
	x := float64(int64(u)>>10) * zigguratScale[u&255]
	if math.Abs(x) < zigguratX[u&255+1] {
		return x
	}
	return s.normalEdge(u&255, x)
}

// normals fills z with what normal would draw, with the state at hand in
// registers.
func (s *source) normals(z []float64) {
	a, b, c, d := s.a, s.b, s.c, s.d
	var u uint64
	for i := range z {
		u, a, b, c, d = step(a, b, c, d)
		x := float64(int64(u)>>10) * zigguratScale[u&255]
		if math.Abs(x) >= zigguratX[u&255+1] {
			*s = source{a, b, c, d}
			x = s.normalEdge(u&255, x)
			a, b, c, d = s.a, s.b, s.c, s.d
		}
		z[i] = x
	}
	*s = source{a, b, c, d}
}

// uniforms fills z with what uniform would draw.
func (s *source) uniforms(z []float64) {
	a, b, c, d := s.a, s.b, s.c, s.d
	var u uint64
	for i := range z {
		u, a, b, c, d = step(a, b, c, d)
		z[i] = float64(u>>11) * 0x1p-53
	}
	*s = source{a, b, c, d}
}

// step is one step of the generator: its number and the next state.
func step(a, b, c, d uint64) (out, a1, b1, c1, d1 uint64) {
	out = bits.RotateLeft64(a+d, 23) + a
	t := b << 17
	c ^= a
	d ^= b
	b ^= c
	a ^= d
	c ^= t
	return out, a, b, c, bits.RotateLeft64(d, 45)
}

// normalEdge settles what lies outside the inner rectangle of layer i: 1 draw
// in 90.
func (s *source) normalEdge(i uint64, x float64) float64 {
	for {
		if i == 0 {
			for {
				tail := -math.Log(1-s.uniform()) / zigguratR
				if y := -math.Log(1 - s.uniform()); 2*y > tail*tail {
					return math.Copysign(zigguratR+tail, x)
				}
			}
		}
		y := zigguratY[i] + s.uniform()*(zigguratY[i+1]-zigguratY[i])
		if y < math.Exp(-x*x/2) {
			return x
		}
		u := s.Uint64()
		i = u & 255
		x = float64(int64(u)>>10) * zigguratScale[i]
		if math.Abs(x) < zigguratX[i+1] {
			return x
		}
	}
}

// zigguratR is where the tail begins with 256 layers of equal area.
const zigguratR = 3.6541528853610088

// The right edge of each layer, its height there, and the scale of a 54-bit
// signed number to the layer's width. Layer 0 holds the tail.
var zigguratX, zigguratY, zigguratScale = ziggurat()

func ziggurat() (x, y [257]float64, scale [256]float64) {
	f := func(x float64) float64 { return math.Exp(-x * x / 2) }
	area := zigguratR*f(zigguratR) + math.Sqrt(math.Pi/2)*math.Erfc(zigguratR/math.Sqrt2)
	x[0], x[1] = area/f(zigguratR), zigguratR
	y[1] = f(zigguratR)
	for i := 2; i <= 256; i++ {
		y[i] = y[i-1] + area/x[i-1]
		x[i] = math.Sqrt(-2 * math.Log(min(y[i], 1)))
	}
	x[256], y[256] = 0, 1
	for i := range scale {
		scale[i] = x[i] * 0x1p-53
	}
	return x, y, scale
}
