package cellar

import (
	"slices"
	"ullage/core/way"
)

// Of wort, ppb: carry-over before the gas, and the band after it.
const (
	wortCarried = 3000
	wortLow     = 6000
	wortHigh    = 20000
	pitchedHigh = 1000
)

// judge holds a node against its limit.
func (x *Node) judge(own map[string]way.Limit) {
	if l, ok := own[x.Point]; ok {
		x.Green, x.Red, x.LimitFrom = l.Green, l.Red, "own"
	} else if i := slices.IndexFunc(defaultLimits, func(l way.Limit) bool { return l.Point == x.Point }); i >= 0 {
		x.Green, x.Red, x.LimitFrom = defaultLimits[i].Green, defaultLimits[i].Red, "starting point"
	} else {
		x.State = wortState(x.Point, *x.DO)
		return
	}
	x.State = "ok"
	if *x.DO > x.Red {
		x.State = "over"
	} else if *x.DO > x.Green {
		x.State = "watch"
	}
}

var defaultLimits = way.DefaultLimits()

// wortState judges wort, where too little is as bad as too much.
func wortState(point string, do float64) string {
	switch {
	case point == way.WortCooled && do > wortCarried, point == way.Pitched12h && do > pitchedHigh,
		point == way.WortOxygenated && (do < wortLow || do > wortHigh):
		return "over"
	case way.IsWort(point):
		return "ok"
	}
	return ""
}

// JudgeOne holds one reading, ppb, against the limit of its point: the
// brewery's own, else the starting point. Where there is neither, from is empty,
// and state too unless the point is of wort.
func JudgeOne(point string, do float64, own []way.Limit) (limit way.Limit, from, state string) {
	limits := map[string]way.Limit{}
	for _, l := range own {
		limits[l.Point] = l
	}
	x := Node{Point: point, DO: &do}
	x.judge(limits)
	return way.Limit{Point: point, Green: x.Green, Red: x.Red}, x.LimitFrom, x.State
}
