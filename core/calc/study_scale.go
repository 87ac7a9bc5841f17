package calc

import (
	"math"

	"ullage/core/quantity"
)

// ScalePoint is one reference mass on the scale.
type ScalePoint struct {
	Reference *quantity.Mass `json:"reference_g" need:"yes" help:"the reference mass"`
	Read      *quantity.Mass `json:"read_g" need:"yes" help:"what the scale showed"`
}

// ErrorLine is what an instrument reads too much, as a line over what it should
// read: read − expected = offset + slope × expected, with standard uncertainties.
type ErrorLine struct {
	N       int     `json:"n"`
	Offset  float64 `json:"offset"`
	OffsetU float64 `json:"offset_u"`
	Slope   float64 `json:"slope_percent"`
	SlopeU  float64 `json:"slope_u_percent"`
}

// Right is what an instrument with this error should have read.
func (l *ErrorLine) Right(read float64) float64 { return (read - l.Offset) / (1 + l.Slope/100) }

// FitErrors fits the line by least squares; u is the standard uncertainty of one
// difference. From three points on their scatter about the line counts where it
// is the larger. ok is false where the points lie too near each other to tell an
// offset from a slope: within a tenth of the largest.
func FitErrors(expected, read []float64, u float64) (l ErrorLine, ok bool) {
	n := float64(len(expected))
	if len(expected) < 2 || len(read) != len(expected) {
		return l, false
	}
	mx, my, low, high, top := 0.0, 0.0, math.Inf(1), math.Inf(-1), 0.0
	for i, x := range expected {
		mx += x / n
		my += (read[i] - x) / n
		low, high, top = math.Min(low, x), math.Max(high, x), math.Max(top, math.Abs(x))
	}
	if !(high-low > top/10) {
		return l, false
	}
	sxx, sxy := 0.0, 0.0
	for i, x := range expected {
		sxx += (x - mx) * (x - mx)
		sxy += (x - mx) * (read[i] - x - my)
	}
	slope := sxy / sxx
	offset := my - slope*mx
	if len(expected) > 2 {
		ss := 0.0
		for i, x := range expected {
			d := read[i] - x - offset - slope*x
			ss += d * d
		}
		u = math.Max(u, math.Sqrt(ss/(n-2)))
	}
	return ErrorLine{N: len(expected), Offset: offset, OffsetU: u * math.Sqrt(1/n+mx*mx/sxx), Slope: 100 * slope, SlopeU: 100 * u / math.Sqrt(sxx)}, true
}

// scale judges every reference mass, and fits their errors where they allow it.
func (c *meterCheck) scale() {
	in := c.in
	if in.Scale == nil {
		return
	}
	limit := valueOr(in.ScaleLimit, scaleLimit)
	expected, read := []float64{float64(*in.ScaleRef)}, []float64{float64(*in.Scale)}
	for _, p := range in.ScaleMore {
		expected, read = append(expected, float64(*p.Reference)), append(read, float64(*p.Read))
	}
	for i := range read {
		c.add("scale", read[i], expected[i], limit, "g")
	}
	if l, ok := FitErrors(expected, read, valueOr(in.ScaleU, limit/3)); ok {
		c.out.Scale = &l
	} else if len(read) > 1 {
		c.warnings = warn(c.warnings, "no_line", "scale_more", "", "the reference masses lie too near each other to tell an offset from a slope", "add one of half the weight")
	}
}
