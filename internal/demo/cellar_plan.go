package demo

import (
	"fmt"
	"slices"
	"time"

	"ullage/internal/lab"
)

// CellarTruth is what is really the matter in a story of the cellar: for tests
// of whatever looks for it in the records.
type CellarTruth struct {
	Story string // in Summary.Stories: the batch
	Kind  string // of the cause
	Step  string
	Text  string
}

// CellarTruths of T1 to T4.
func CellarTruths() []CellarTruth {
	return []CellarTruth{
		{"T1", "leak", "centrifuge", "FV12 to BBT3: a leak at the centrifuge, 20 ppb at 60 hL/h and 40 at 30"},
		{"T2", "washout", "filter", "air left in the filter: 900 ppb at its start, time constant 4 min"},
		{"T3", "dry_hop", "dry_hop", "14 g/L from a doser that was opened: 190 ppb, 35 after 20 h"},
		{"T4", "tank_gas", "hold", "BBT2 held under counter gas with air in it: from 25 to 49 ppb in six hours"},
	}
}

// bright is the beer of one run in its bright tank, and what the run drew.
type bright struct {
	key   string // R1 … R12, now, or H and the number of a run of the history
	id    string
	batch *lab.Batch
	rev   int
	s     script
	start time.Time // of the run
	fill  time.Time // when the tank began to be filled
	open  bool
}

// fermentation is one fermenter's batch and the bright batches drawn from it.
type fermentation struct {
	key     string
	beer    string
	large   bool   // 100 hL, four brews; else 50 hL, two
	tank    string // empty: the next free one of its size
	days    int    // from the first brew to the first transfer, or to today
	brights []string
	dryHop  float64 // g/L; 0: none

	id, code string
	made     time.Time
	hl       float64
	rev      int
	batch    *lab.Batch
	end      float64 // DO, ppb, when the first transfer begins
}

// fermentations behind the newest runs, and three not yet drawn. FV12 leaked at
// its centrifuge on the way to the tank of R8; R3 and R6 are blends of two.
func fermentations() []*fermentation {
	return []*fermentation{
		{key: "F127", beer: "vellumrook", days: 13, brights: []string{"H127"}, dryHop: 5},
		{key: "F128", beer: "dapplewick", days: 14, brights: []string{"H128"}, dryHop: 14},
		{key: "FB", beer: "quernlight", large: true, days: 19, brights: []string{"H129", "R2"}},
		{key: "F130", beer: "hobbinwheat", days: 9, brights: []string{"H130"}},
		{key: "FE", beer: "vellumrook", large: true, days: 13, brights: []string{"R1", "R4"}, dryHop: 5},
		{key: "Fc", beer: "dapplewick", days: 14, brights: []string{"R3", "R6"}, dryHop: 14},
		{key: "Fd", beer: "dapplewick", days: 13, brights: []string{"R3", "R6"}, dryHop: 14},
		{key: "FC", beer: "quernlight", large: true, days: 19, brights: []string{"R5", "R9"}},
		{key: "F7", beer: "thrumbeck", days: 13, brights: []string{"R7"}},
		{key: "FV12", beer: "vellumrook", large: true, tank: "fv12", days: 12, brights: []string{"R8", "now"}, dryHop: 5},
		{key: "F10", beer: "dapplewick", days: 14, brights: []string{"R10"}, dryHop: 14},
		{key: "F12", beer: "quernlight", days: 18, brights: []string{"R12"}},
		{key: "F11", beer: "hobbinwheat", days: 9, brights: []string{"R11"}},
		{key: "going1", beer: "dapplewick", days: 9, dryHop: 14},
		{key: "going2", beer: "quernlight", days: 6},
		{key: "going3", beer: "hobbinwheat", days: 1},
	}
}

// bbtFor overrides the turn of the bright tanks: the leak went to BBT3, the
// counter gas was at BBT2.
var bbtFor = map[string]string{"H127": "bbt3", "H129": "bbt2"}

// hlFor: less than the turn would give, because the first of it went to the drain.
var hlFor = map[string]float64{"R12": 44}

// firstTraced is the first run of the history whose beer is traced to its brews.
const firstTraced = historyWeeks*5 - 3

// traced tells whether a run's beer has its way on record, and its key.
func (b *builder) traced(s *script) (string, bool) {
	if s.name != "" {
		return s.name, true
	}
	return fmt.Sprintf("H%d", b.batch), b.batch >= firstTraced
}

// dayBefore is the working day before t, at an hour.
func dayBefore(t time.Time, hour float64) time.Time {
	y, m, d := t.Date()
	day := time.Date(y, m, d, 0, 0, 0, 0, t.Location()).AddDate(0, 0, -1)
	for day.Weekday() == time.Saturday || day.Weekday() == time.Sunday {
		day = day.AddDate(0, 0, -1)
	}
	return day.Add(time.Duration(hour * float64(time.Hour)))
}

// fillHour is when a bright tank begins to be filled, the working day before.
const fillHour = 13

// newBatch is the beer in a bright tank that a run packages.
func (b *builder) newBatch(s script, start time.Time, open bool) string {
	b.batch++
	b.tank++
	at := start.Add(-50 * time.Minute)
	key, traced := b.traced(&s)
	tank := fmt.Sprintf("bbt%d", (b.tank-1)%3+1)
	if t := bbtFor[key]; t != "" {
		tank = t
	}
	fill := dayBefore(start, fillHour)
	hl := float64(38 + b.batch%11)
	if v := hlFor[key]; v > 0 {
		hl = v
	}
	x := &bright{key: key, id: b.id(at), s: s, start: start, fill: fill, open: open}
	x.batch = &lab.Batch{Meta: meta(x.id, b.ref("cellar"), "desk", fill), BeerID: b.ref(s.beer), TankID: b.ref(tank),
		Code: fmt.Sprintf("%s-%02d-%03d", brewOf(s.beer).code, start.Year()%100, b.batch), VolumeHL: lab.Num(hl), MadeAt: lab.At(fill), Status: "bright"}
	if traced {
		b.brights = append(b.brights, x)
		b.add(fill, write{record: x.batch})
		x.rev = 1
		return x.id
	}
	// Entered afterwards, like the run itself.
	x.batch.DeviceAt, x.batch.Status = lab.At(at), "empty"
	x.batch.Note = fmt.Sprintf("tank DO %.0f ppb before packaging", s.proc.in-lineGain)
	b.add(at, write{record: x.batch})
	return x.id
}

// brightOf a key.
func (b *builder) brightOf(key string) *bright {
	for _, x := range b.brights {
		if x.key == key {
			return x
		}
	}
	panic("demo: no bright tank " + key)
}

// schedule gives every fermentation its brewing day and its tank.
func (b *builder) schedule(fs []*fermentation) {
	taken := map[string]bool{}
	for _, f := range fs {
		until := b.now
		if len(f.brights) > 0 {
			until = b.brightOf(f.brights[0]).fill
		}
		f.made = b.brewDay(until.AddDate(0, 0, -f.days), taken)
	}
	slices.SortStableFunc(fs, func(a, c *fermentation) int { return a.made.Compare(c.made) })
	free := map[string]time.Time{}
	for i, f := range fs {
		last := b.now.AddDate(0, 0, 30)
		if n := len(f.brights); n > 0 {
			last = b.brightOf(f.brights[n-1]).fill.AddDate(0, 0, 1)
		}
		f.tank = f.freeTank(free)
		free[f.tank] = last
		f.code = fmt.Sprintf("%s-%02d-F%02d", brewOf(f.beer).code, f.made.Year()%100, i+41)
	}
}

// brewDay is the last working day at or before t on which nothing else is brewed.
func (b *builder) brewDay(t time.Time, taken map[string]bool) time.Time {
	day := dayBefore(t.AddDate(0, 0, 1), 6)
	for taken[day.Format(time.DateOnly)] || !day.Before(b.now.Add(-12*time.Hour)) {
		day = dayBefore(day, 6)
	}
	taken[day.Format(time.DateOnly)] = true
	return day
}

func (f *fermentation) freeTank(free map[string]time.Time) string {
	if f.tank != "" {
		return f.tank
	}
	want := 50.0
	if f.large {
		want = 100
	}
	for _, t := range tanks {
		if t.kind == "fermenter" && t.hl == want && t.key != "fv12" && free[t.key].Before(f.made) {
			return t.key
		}
	}
	panic("demo: no fermenter is free for " + f.key)
}
