package way

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

func entry(list string, i int, field string) string { return fmt.Sprintf("%s[%d].%s", list, i, field) }

func list(words []string) string { return strings.Join(words, ", ") }

// PlusMinus is a difference with its interval, to the digits that the interval
// leaves a meaning.
func PlusMinus(v, half float64) string {
	digits := 1
	if half >= 20 {
		digits = 0
	}
	text := strconv.FormatFloat(math.Abs(v), 'f', digits, 64)
	sign := "+"
	if v < 0 {
		sign = "−"
	}
	return sign + text + " ± " + strconv.FormatFloat(half, 'f', digits, 64) + " ppb"
}

// pointWords are what people call the points.
var pointWords = map[string]string{
	WortCooled: "cooled wort", WortOxygenated: "wort after oxygenation", Pitched12h: "12 h after pitching", FermentationEnd: "end of fermentation",
	DryHopBefore: "before dry hop", DryHop1h: "1 h after dry hop", DryHop24h: "24 h after dry hop", TankBefore: "giving tank", CentrifugeIn: "centrifuge in",
	CentrifugeOut: "centrifuge out", FilterIn: "filter in", FilterOut: "filter out", CarbonateBefore: "before carbonation", CarbonateAfter: "after carbonation",
	TankAfter: "receiving tank", TankRested: "tank rested", TankHold: "tank held", TankGasPoint: "tank gas", LineStart: "start of line", FillerInlet: "filler inlet",
	Unshaken: "unshaken DO", TPO: "TPO",
}

// PointWord is what people call a point.
func PointWord(point string) string {
	if w := pointWords[point]; w != "" {
		return w
	}
	return point
}

// stepWords are what people call the steps.
var stepWords = map[string]string{
	StepOxygenation: "oxygenation", StepFermentation: "fermentation", StepDryHop: "dry hop", StepTransfer: "transfer", StepCentrifuge: "centrifuge",
	StepFilter: "filter", StepCarbonation: "carbonation", StepHold: "holding", StepLine: "line to the filler", StepFilling: "filling", StepHeadspace: "headspace", StepAddition: "addition",
}

// StepWord is what people call a step.
func StepWord(step string) string {
	if w := stepWords[step]; w != "" {
		return w
	}
	return step
}
