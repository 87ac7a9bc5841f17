package cellar

// JudgeOne holds one reading, ppb, against the limit of its point: the
// brewery's own, else the starting point. Where there is neither, from is empty,
// and state too unless the point is of wort.
func JudgeOne(point string, do float64, own []Limit) (limit Limit, from, state string) {
	limits := map[string]Limit{}
	for _, l := range own {
		limits[l.Point] = l
	}
	x := Node{Point: point, DO: &do}
	x.judge(limits)
	return Limit{point, x.Green, x.Red}, x.LimitFrom, x.State
}
