package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"regexp"
	"strconv"
	"strings"

	"ullage/internal/lab"
)

type named struct{ id, name string }

// refs are the records that names in a file can stand for.
type refs struct {
	list  map[string][]named           // field → records in use
	id    map[string]map[string]string // field → name as compared → id
	title map[string]string            // id → name
	made  map[string]lab.ImportName    // id → what is to be made
	zone  string                       // the brewery's
	lots  []lab.FormatLot
	sg    map[string]bool // beers that have one
}

var refKinds = map[string]lab.Kind{"beer": lab.KindBeers, "format": lab.KindFormats, "line": lab.KindLines}

// compared is a name without what people write in different ways.
func compared(s string) string { return strings.Join(strings.Fields(strings.ToLower(s)), " ") }

func loadRefs(ctx context.Context, svc *lab.Service, m *lab.ImportMapping) (*refs, error) {
	r := &refs{list: map[string][]named{}, id: map[string]map[string]string{}, title: map[string]string{}, made: map[string]lab.ImportName{}, sg: map[string]bool{}}
	for field, kind := range refKinds {
		r.id[field] = map[string]string{}
		err := eachRecord(ctx, svc, kind, func(body json.RawMessage) error {
			var v struct {
				ID       string `json:"id"`
				Name     string `json:"name"`
				Archived bool   `json:"archived"`
				SG       any    `json:"sg"`
			}
			if err := json.Unmarshal(body, &v); err != nil || v.Archived {
				return err
			}
			r.list[field] = append(r.list[field], named{v.ID, v.Name})
			r.id[field][compared(v.Name)] = v.ID
			r.title[v.ID], r.sg[v.ID] = v.Name, v.SG != nil
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	err := eachRecord(ctx, svc, lab.KindFormatLots, func(body json.RawMessage) error {
		var lot lab.FormatLot
		if err := json.Unmarshal(body, &lot); err != nil || lot.Archived {
			return err
		}
		r.lots = append(r.lots, lot)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if body, err := svc.Get(ctx, lab.KindBrewery, lab.BreweryID); err == nil {
		var b lab.Brewery
		if json.Unmarshal(body, &b) == nil {
			r.zone = b.TimeZone
		}
	}
	if m != nil {
		r.take(m.Names)
	}
	return r, nil
}

// take lays a person's answers over the names.
func (r *refs) take(names []lab.ImportName) {
	for _, n := range names {
		ids := r.id[n.Field]
		if ids == nil {
			continue
		}
		key := compared(n.Text)
		switch {
		case n.ID != "" && r.title[n.ID] != "":
			ids[key] = n.ID
		case n.Create && ids[key] == "" && complete(n):
			id := derived(0, "new", n.Field, key)
			ids[key], r.title[id], r.made[id] = id, n.Text, n
		}
	}
}

// complete tells whether a record can be made of what is known.
func complete(n lab.ImportName) bool {
	switch n.Field {
	case "format":
		return n.PackageKind != "" && n.NominalML != nil
	case "line":
		return n.Heads > 0
	}
	return true
}

// lotOn tells whether a lot of a format is in force on a day.
func (r *refs) lotOn(formatID, day string) bool {
	for _, lot := range r.lots {
		if lot.FormatID == formatID && lot.From <= day && lot.CapacityML != nil {
			return true
		}
	}
	return false
}

// newRecord makes the record a name asks for.
func newRecord(n lab.ImportName, id, by string) lab.Record {
	meta := lab.Meta{ID: id, By: by}
	switch n.Field {
	case "beer":
		return &lab.Beer{Meta: meta, Name: n.Text}
	case "format":
		return &lab.Format{Meta: meta, Name: n.Text, PackageKind: n.PackageKind, NominalML: n.NominalML}
	}
	return &lab.Line{Meta: meta, Name: n.Text, Heads: n.Heads}
}

func eachRecord(ctx context.Context, svc *lab.Service, kind lab.Kind, do func(json.RawMessage) error) error {
	q := lab.Query{Kind: kind, Limit: lab.MaxPage}
	for {
		page, err := svc.List(ctx, q)
		if err != nil {
			return err
		}
		for _, body := range page.Records {
			if err := do(body); err != nil {
				return err
			}
		}
		if page.Next == "" {
			return nil
		}
		q.After = page.Next
	}
}

// derived makes an id from what a record is about, so that the same file makes
// the same records. It has the shape of a UUIDv7 (RFC 9562): the time is the
// record's own, the rest a hash in place of chance.
func derived(unixMilli int64, parts ...string) string {
	sum := sha256.Sum256([]byte("ullage import\x00" + strings.Join(parts, "\x00")))
	b := sum[:16]
	t := uint64(max(unixMilli, 0))
	for i := 5; i >= 0; i-- {
		b[i] = byte(t)
		t >>= 8
	}
	b[6] = b[6]&0x0f | 0x70
	b[8] = b[8]&0x3f | 0x80
	h := hex.EncodeToString(b)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

var sizeIn = regexp.MustCompile(`(\d+(?:[.,]\d+)?)\s*(ml|cl|l|fl\s*oz|oz)?\b`)

// guess fills what a new record would hold from its name: "Can 355", "0,5 L
// bottle", "12 oz can". A bare number from 100 on is taken as millilitres.
func guess(fieldKey, text string, heads int) lab.ImportName {
	n := lab.ImportName{Field: fieldKey, Text: text, Create: true}
	low := strings.ToLower(text)
	switch fieldKey {
	case "line":
		n.Heads = max(heads, 1)
	case "format":
		for _, word := range strings.FieldsFunc(low, func(r rune) bool { return r < 'a' || r > 'z' }) {
			if kind := choices[lots+"/kind"][word]; kind != "" {
				n.PackageKind = kind
			}
		}
		x := sizeIn.FindStringSubmatch(low)
		if x == nil {
			break
		}
		v, err := strconv.ParseFloat(strings.Replace(x[1], ",", ".", 1), 64)
		scale := map[string]float64{"": 1, "ml": 1, "cl": 10, "l": 1000}[x[2]]
		if strings.HasSuffix(x[2], "oz") {
			scale = 29.5735295625 // US fluid ounce, exact
		}
		if ml := v * scale; err == nil && ml >= 100 && ml <= 60000 {
			n.NominalML = lab.Num(float64(int(ml*10+0.5)) / 10)
		}
	}
	return n
}
