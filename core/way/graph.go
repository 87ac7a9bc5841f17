package way

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"ullage/core/quantity"
)

// order sorts the batches so that each comes after those it was filled from. A
// batch that flows into itself by way of others is refused: no liquid does.
func (in *Input) order() ([]string, error) {
	const onPath, done = 1, 2
	mark := map[string]int{}
	var sorted, path []string
	into := map[string][]string{}
	for _, m := range in.Moves {
		if m.From != "" && m.To != "" && m.From != m.To {
			into[m.To] = append(into[m.To], m.From)
		}
	}
	var visit func(id string) error
	visit = func(id string) error {
		switch mark[id] {
		case done:
			return nil
		case onPath:
			loop := append(slices.Clone(path[slices.Index(path, id):]), id)
			for i := range loop {
				loop[i] = in.Name(loop[i])
			}
			slices.Reverse(loop)
			return &quantity.Error{Field: "moves", Value: strings.Join(loop, " → "), Message: "goes in a circle: a batch cannot come from itself", Mend: "check from and to of these moves; what flows back into a vessel is a new batch, or a recirculation"}
		}
		mark[id] = onPath
		path = append(path, id)
		for _, from := range into[id] {
			if err := visit(from); err != nil {
				return err
			}
		}
		path = path[:len(path)-1]
		mark[id] = done
		sorted = append(sorted, id)
		return nil
	}
	for _, b := range in.Batches {
		if err := visit(b.ID); err != nil {
			return nil, err
		}
	}
	return sorted, nil
}

// shown are the batches of a map: what the focus flowed into, and all that
// those came from.
func (in *Input) shown() map[string]bool {
	all := map[string]bool{}
	if in.Focus == "" {
		for _, b := range in.Batches {
			all[b.ID] = true
		}
		return all
	}
	return Connected(in.Focus, func(move func(from, to string) bool) {
		for _, m := range in.Moves {
			if !move(m.From, m.To) {
				return
			}
		}
	})
}

// Connected are the batches that a map of the focus shows: what it flowed into by
// the moves, each from one batch to another, and all that those came from.
func Connected(focus string, moves iter.Seq2[string, string]) map[string]bool {
	all := map[string]bool{focus: true}
	for _, down := range []bool{true, false} {
		for grew := true; grew; {
			grew = false
			for from, to := range moves {
				if !down {
					from, to = to, from
				}
				if from != "" && to != "" && all[from] && !all[to] {
					all[to], grew = true, true
				}
			}
		}
	}
	return all
}

// Name is what a person calls a batch.
func (in *Input) Name(id string) string {
	for i := range in.Batches {
		if b := &in.Batches[i]; b.ID == id {
			switch {
			case b.Code != "" && b.Tank != "":
				return b.Code + " in " + b.Tank
			case b.Code != "":
				return b.Code
			case b.Tank != "":
				return b.Tank
			}
		}
	}
	return id
}

// BatchByID is a batch given, or nil.
func (in *Input) BatchByID(id string) *Batch {
	for i := range in.Batches {
		if in.Batches[i].ID == id {
			return &in.Batches[i]
		}
	}
	return nil
}

// volumes finds what the records of volumes contradict. Concentrations of a
// simple transfer do not hang on them, so this warns and refuses nothing.
func (w *Way) volumes() {
	const measured, assumed = 0.05, 0.15 // of packages × nominal volume
	for i := range w.In.Batches {
		b := &w.In.Batches[i]
		if !w.Shown[b.ID] {
			continue
		}
		slack := measured
		in, out, known, outs, arrivals := w.Filled(b.ID), 0.0, true, 0, false
		for _, m := range w.In.Moves {
			if m.From == b.ID && m.To != b.ID {
				out += m.VolumeHL
				outs++
			}
			if m.To == b.ID && m.From != b.ID {
				arrivals = true
				known = known && m.VolumeHL > 0
				in += m.VolumeHL
			}
		}
		for _, r := range w.In.Runs {
			if r.Batch == b.ID && r.VolumeFrom != "time" { // that is the most there can be
				out += r.VolumeHL
				outs++
				if r.VolumeFrom != "" {
					slack = assumed
				}
			}
		}
		if arrivals && known && in > 0 && b.VolumeHL > 0 && (in < b.VolumeHL*(1-measured) || in > b.VolumeHL*(1+measured)) {
			w.warn("volumes_differ", b.ID, fmt.Sprintf("%s is recorded with %s hL, and %s hL went into it", w.In.Name(b.ID), quantity.Figure(b.VolumeHL), quantity.Figure(in)),
				"check both; grams are of the recorded volume, blends of the moves")
		}
		most := max(in, b.VolumeHL)
		if most > 0 && out > most*(1+slack) {
			code, what := "volumes_differ", "more left it than it held"
			if outs > 1 && out > 1.5*most {
				code, what = "emptied_twice", "it was emptied twice by these records"
			}
			w.warn(code, b.ID, fmt.Sprintf("%s held %s hL and %s hL left it: %s", w.In.Name(b.ID), quantity.Figure(most), quantity.Figure(out), what),
				"check the moves: one may belong to another batch, or be entered twice")
		}
	}
}

// Filled is what brews brought, 0 where their volumes are not known.
func (w *Way) Filled(batch string) float64 {
	sum := 0.0
	for _, b := range w.In.Brews {
		if b.Batch == batch {
			if b.VolumeHL <= 0 {
				return 0
			}
			sum += b.VolumeHL
		}
	}
	return sum
}
