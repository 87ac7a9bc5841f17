package calc

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"sort"

	"ullage/core/quantity"
)

// PackageRow is a package of the brewery, as `tpo` takes it, with a name.
type PackageRow struct {
	ID      string
	Package TPOInput
}

// packageRows reads a list of packages.
type packageRows []PackageRow

func (p *packageRows) UnmarshalJSON(text []byte) error {
	var list []json.RawMessage
	if json.Unmarshal(text, &list) != nil || list == nil {
		return &quantity.Error{Value: clip(text), Message: "is not a list of packages", Mend: `write [{"id": "can 355", "temperature_c": 4, …}]`}
	}
	if len(list) > maxBuyRows {
		return refuse("", float64(len(list)), fmt.Sprintf("packages are more than %d", maxBuyRows), "give one usual package of each format")
	}
	fields := FieldsOf[TPOInput]()
	*p = make(packageRows, len(list))
	for i, row := range list {
		given, err := members(row)
		if err != nil {
			return inRow(i, err)
		}
		var rest []member
		for _, m := range given {
			if m.name != "id" {
				rest = append(rest, m)
				continue
			}
			var id label
			if json.Unmarshal(m.value, &id) != nil {
				return inRow(i, &quantity.Error{Field: "id", Value: clip(m.value), Message: "is no name", Mend: "write for example can 355"})
			}
			(*p)[i].ID = string(id)
		}
		if err := decode(fields, rest, reflect.ValueOf(&(*p)[i].Package).Elem()); err != nil {
			return inRow(i, err)
		}
	}
	return nil
}

const maxBuyRows = 200

// BuyNextInput are usual packages of a brewery.
type BuyNextInput struct {
	Rows packageRows `json:"rows" need:"yes" help:"list of usual packages, one of each format: id and the fields of tpo"`
}

// BuyPackage is a package with what is known now.
type BuyPackage struct {
	ID   string  `json:"id"`
	TPO  float64 `json:"tpo_ppb"`
	U    float64 `json:"tpo_u_ppb"`
	Half float64 `json:"half_width_ppb"` // of the 95 % interval
	Path string  `json:"path"`
}

// BuyOption is something to buy or to do, and by how much the half-width of the
// 95 % interval of TPO would shrink.
type BuyOption struct {
	What     string    `json:"what"`
	Kind     string    `json:"kind"` // instrument or work
	Mean     float64   `json:"gain_mean_ppb"`
	Largest  float64   `json:"gain_largest_ppb"`
	For      string    `json:"largest_for"`
	Gains    []BuyGain `json:"packages"`
	Applies  int       `json:"applies_to"`
	HalfMean float64   `json:"half_width_mean_ppb"` // over all packages, with it
}

// BuyGain is what an option does for one package.
type BuyGain struct {
	ID   string  `json:"id"`
	Gain float64 `json:"gain_ppb"`
	U    float64 `json:"tpo_u_ppb"`
}

// BuyResult ranks what could be bought or done, the most useful first.
type BuyResult struct {
	Packages []BuyPackage `json:"packages"`
	Options  []BuyOption  `json:"options"`
	HalfMean float64      `json:"half_width_mean_ppb"`
	Sentence string       `json:"sentence"`
}

// BuyNext tries each better instrument or weighing on every package (eq. 33,
// 34): a copy of the input is computed again, so correlations and new sources of
// error count.
func BuyNext(in *BuyNextInput) (Answer, error) {
	if len(in.Rows) == 0 {
		return Answer{}, tooFewRows(0, 1)
	}
	out := BuyResult{}
	byName := map[string]*BuyOption{}
	var order []string
	n := float64(len(in.Rows))
	for i := range in.Rows {
		row := in.Rows[i]
		row.Package.Uncertainty, row.Package.Explain = GUM, false
		if row.ID == "" {
			row.ID = fmt.Sprint(i + 1)
		}
		now, list, err := tryAll(&row.Package)
		if err != nil {
			return Answer{}, inRow(i, err)
		}
		now.ID = row.ID
		out.Packages = append(out.Packages, now)
		out.HalfMean += now.Half / n
		for _, o := range list {
			b := byName[o.What]
			if b == nil {
				b = &BuyOption{What: o.What, Kind: kindOfGain(o.What)}
				byName[o.What], order = b, append(order, o.What)
			}
			b.Applies++
			b.Mean += o.Gain / n
			if o.Gain > b.Largest {
				b.Largest, b.For = o.Gain, row.ID
			}
			b.Gains = append(b.Gains, BuyGain{row.ID, o.Gain, o.U})
		}
	}
	out.Options = []BuyOption{}
	for _, name := range order {
		b := byName[name]
		b.HalfMean = out.HalfMean - b.Mean
		out.Options = append(out.Options, *b)
	}
	sort.SliceStable(out.Options, func(i, j int) bool { return out.Options[i].Mean > out.Options[j].Mean })
	out.Sentence = "Nothing here would narrow the interval by 0.05 ppb or more."
	if len(out.Options) > 0 {
		b := out.Options[0]
		out.Sentence = fmt.Sprintf("Next: %s. The 95 %% interval of TPO, ± %.1f ppb in the mean now, would shrink to ± %.1f ppb; most for %s (%.1f ppb less).", b.What, out.HalfMean, b.HalfMean, b.For, b.Largest)
	}
	return Answer{Result: out}, nil
}

// scales are what no single package's list offers: a better scale, for every
// weighing that is done.
const betterScale = "a scale good to 0.01 g (kegs 1 g)"

func kindOfGain(what string) string {
	switch what {
	case betterScale, "a DO meter good to 0.5 ppb or 1 %", "a thermometer good to 0.1 °C", "a gravity good to 0.0001":
		return "instrument"
	}
	return "work"
}

// tryAll is one package now, and each improvement on it.
func tryAll(in *TPOInput) (BuyPackage, []Improvement, error) {
	var e Evaluator
	var out TPOResult
	if _, err := e.Detail(in, &out); err != nil {
		return BuyPackage{}, nil, err
	}
	now := BuyPackage{TPO: out.TPO, U: out.U, Half: uncertainty95 * out.U, Path: out.Path}
	list := slices.Clone(out.Improvements)
	if out.Path == PathWeighed {
		try := *in
		if try.U = maps.Clone(in.U); try.U == nil {
			try.U = map[string]float64{}
		}
		good := 0.01
		if *in.Gross > 3000 {
			good = 1
		}
		try.U["scale_gross"], try.U["scale_tare"] = good, good
		u := e.uncertaintyOf(&try, weighed)
		if gain := uncertainty95 * (out.U - u); gain > 0.05 {
			list = append(list, Improvement{What: betterScale, U: u, Gain: gain})
		}
	}
	return now, list, nil
}
