package lab

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Link is a revision's place in the chain: its hash covers the hash before it,
// so that no revision can be changed, taken out, put in or moved without every
// later hash changing.
type Link struct {
	Seq      int64    // the revision's position
	Hash     string   // hexadecimal; empty: the revision was never chained
	Revision Revision // Seq 0: the chain knows it and it is gone
}

// ChainHead is the newest link. Who keeps one elsewhere, on paper or in another
// system, can prove later that nothing before it was changed.
type ChainHead struct {
	Seq  int64  `json:"seq"`
	Hash string `json:"hash"`
}

func (h ChainHead) String() string { return fmt.Sprintf("%d:%s", h.Seq, h.Hash) }

// ParseChainHead reads what String writes.
func ParseChainHead(text string) (ChainHead, error) {
	seq, sum, _ := strings.Cut(text, ":")
	n, err := strconv.ParseInt(seq, 10, 64)
	if err != nil || n < 0 || len(sum) != 64 {
		return ChainHead{}, fault(Invalid, "head", text, "is not the head of a chain", "write it as audit head printed it: position, colon, 64 digits")
	}
	return ChainHead{n, sum}, nil
}

const chainVersion = "ullage chain 1"

// ChainHash is the hash of a revision after the one before it ("" for the
// first): SHA-256 over each part with its length before it, so that no two
// revisions give the same text. Times count to the millisecond, which both
// databases keep.
func ChainHash(before string, r Revision) string {
	h := sha256.New()
	open := "0"
	if r.Open {
		open = "1"
	}
	for _, part := range []string{chainVersion, before, strconv.FormatInt(r.Seq, 10), string(r.Kind), r.ID, strconv.Itoa(r.Rev), r.RunID, open,
		r.Hash, string(r.Body), r.By, r.DeviceID, instantOf(r.DeviceAt), instantOf(r.ServerAt), r.Account, r.Via, r.Server} {
		write(h, part)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func write(h hash.Hash, part string) {
	var n [8]byte
	binary.BigEndian.PutUint64(n[:], uint64(len(part)))
	h.Write(n[:])
	h.Write([]byte(part))
}

func instantOf(t Time) string {
	if t.IsZero() {
		return ""
	}
	return strconv.FormatInt(t.UnixMilli(), 10)
}

// Broken is one place where the records are not what was written.
type Broken struct {
	Seq  int64  `json:"seq"`
	Kind Kind   `json:"collection,omitempty"`
	ID   string `json:"id,omitempty"`
	Rev  int    `json:"rev,omitempty"`
	What string `json:"what"`
}

// Verified is what a walk along the whole chain found.
type Verified struct {
	Revisions int       `json:"revisions"`
	Head      ChainHead `json:"head"`
	Signed    int       `json:"signed" doc:"decisions on lots whose chain head was checked"`
	Broken    []Broken  `json:"broken" doc:"the first 100 places"`
}

const maxBroken = 100

// VerifyChain walks every revision in order and says where the records are not
// what was written: changed, gone, put in between, in another order, or hidden.
// anchors are heads kept elsewhere.
//
// Limits: who can write the database and computes the whole chain anew is found
// only by a head kept elsewhere; so is who takes off the newest revisions
// together with the record of the newest. Signed lots carry the head of their day.
func (s *Service) VerifyChain(ctx context.Context, anchors ...ChainHead) (Verified, error) {
	if err := s.May(ctx, DoHistory); err != nil {
		return Verified{}, err
	}
	w := &walker{out: Verified{Broken: []Broken{}}, newest: map[string]int64{}, at: map[int64]string{}, anchors: anchors}
	head, err := s.Store.ChainHead(ctx)
	if err != nil {
		return w.out, err
	}
	for _, a := range anchors {
		w.at[a.Seq] = ""
	}
	for after := int64(0); ; {
		links, err := s.Store.Chain(ctx, ChainQuery{After: after, Limit: MaxPage})
		if err != nil {
			return w.out, err
		}
		for _, l := range links {
			w.step(l)
			after = l.Seq
		}
		if len(links) == 0 {
			break
		}
	}
	w.end(head)
	return w.out, s.compareNewest(ctx, w)
}

type walker struct {
	out     Verified
	before  string // hash as recomputed
	last    Link
	newest  map[string]int64
	at      map[int64]string // hashes at positions asked for
	heads   []signedAt
	anchors []ChainHead
}

// signedAt is a chain head that a decision carries.
type signedAt struct {
	ChainHead
	by Link
}

func (w *walker) say(l Link, what string) {
	if len(w.out.Broken) < maxBroken {
		w.out.Broken = append(w.out.Broken, Broken{l.Seq, l.Revision.Kind, l.Revision.ID, l.Revision.Rev, what})
	}
}

func (w *walker) step(l Link) {
	r := l.Revision
	switch {
	case r.Seq == 0:
		w.say(l, "a revision is gone: the chain has its place")
		w.before = l.Hash
	case l.Hash == "":
		w.say(l, "a revision was put in: the chain does not know it")
		w.out.Revisions++
	default:
		w.out.Revisions++
		if want := ChainHash(w.before, r); want != l.Hash {
			w.say(l, "is not what was written, or what stood before it was taken out or moved")
		}
		// Going on from the stored hash finds each later fault by itself.
		w.before = l.Hash
		w.readable(l)
		w.newest[key(r.Kind, r.ID)] = r.Seq
	}
	if _, asked := w.at[l.Seq]; asked {
		w.at[l.Seq] = l.Hash
	}
	w.last = l
}

// readable compares what stands beside a record with the record itself, and
// takes the chain head of a decision.
func (w *walker) readable(l Link) {
	r := l.Revision
	var m struct {
		Meta
		Chain *ChainHead `json:"chain"`
	}
	if err := json.Unmarshal(r.Body, &m); err != nil {
		w.say(l, "cannot be read")
		return
	}
	if m.ID != r.ID || m.Rev != r.Rev || m.By != r.By || m.DeviceID != r.DeviceID {
		w.say(l, "says another id, revision, person or device inside than beside")
	}
	// One that was imported was signed in the chain of another database.
	if r.Kind == KindDecisions && m.Chain != nil && r.Via != viaImport {
		w.heads = append(w.heads, signedAt{*m.Chain, l})
	}
}

// viaImport marks revisions that came by an export of another database.
const viaImport = "import"

func (w *walker) end(head ChainHead) {
	if head.Seq != w.last.Seq || head.Hash != w.last.Hash {
		w.say(w.last, fmt.Sprintf("the newest revisions are gone: the last one written was at position %d", head.Seq))
	}
	w.out.Head = ChainHead{w.last.Seq, w.last.Hash}
	for _, a := range w.anchors {
		if w.at[a.Seq] != a.Hash {
			w.say(Link{Seq: a.Seq}, "is not what it was when the head "+a.String()+" was kept")
		}
	}
}

// compareNewest finds revisions that lists hide, and the chain heads of signed
// lots that no longer fit.
func (s *Service) compareNewest(ctx context.Context, w *walker) error {
	for _, k := range Kinds() {
		for q := (Query{Kind: k, Limit: MaxPage}); ; {
			revs, err := s.Store.List(ctx, q)
			if err != nil {
				return err
			}
			for _, r := range revs {
				if w.newest[key(k, r.ID)] != r.Seq {
					w.say(Link{Seq: r.Seq, Revision: r}, "lists show a revision that is not the newest")
				}
				delete(w.newest, key(k, r.ID))
				q.After = r.ID
			}
			if len(revs) < q.Limit {
				break
			}
		}
	}
	for _, k := range slices.Sorted(maps.Keys(w.newest)) {
		kind, id, _ := strings.Cut(k, "/")
		w.say(Link{Seq: w.newest[k], Revision: Revision{Kind: Kind(kind), ID: id}}, "lists do not show this record")
	}
	for _, h := range w.heads {
		link, err := s.Store.Chain(ctx, ChainQuery{After: h.Seq - 1, Limit: 1})
		if err != nil {
			return err
		}
		w.out.Signed++
		if h.Seq > 0 && (len(link) == 0 || link[0].Seq != h.Seq || link[0].Hash != h.Hash) {
			w.say(h.by, fmt.Sprintf("was signed when position %d had another hash", h.Seq))
		}
	}
	return nil
}

// TrailStep is one revision as an auditor reads it.
type TrailStep struct {
	Rev      int           `json:"rev"`
	By       string        `json:"by" doc:"id of a person, or a name"`
	SaidBy   string        `json:"said_by,omitempty"`
	Account  string        `json:"account,omitempty" doc:"account that was signed in; empty: none was asked for"`
	Via      string        `json:"via,omitempty" doc:"how it showed who it was"`
	DeviceID string        `json:"device_id,omitempty"`
	Server   string        `json:"server,omitempty"`
	DeviceAt Time          `json:"device_at,omitzero"`
	ServerAt Time          `json:"server_at"`
	Reason   string        `json:"reason,omitempty"`
	Changes  []TrailChange `json:"changes" doc:"all fields of the first revision, those that differ of a later one"`
	Seq      int64         `json:"seq"`
	Hash     string        `json:"hash"`
	Holds    bool          `json:"holds" doc:"it is what was written, as far as its own hash tells"`
}

// TrailChange is one field before and after.
type TrailChange struct {
	Field  string `json:"field"`
	Before any    `json:"before,omitempty"`
	After  any    `json:"after,omitempty"`
}

// Trail gives all that was ever written of a record, oldest first.
func (s *Service) Trail(ctx context.Context, k Kind, id string) ([]TrailStep, error) {
	if err := s.May(ctx, DoHistory); err != nil {
		return nil, err
	}
	links, err := s.Store.Chain(ctx, ChainQuery{Kind: k, ID: id})
	if err != nil {
		return nil, err
	}
	if len(links) == 0 {
		return nil, NoSuch(k, id)
	}
	out := make([]TrailStep, 0, len(links))
	before := map[string]any{}
	for _, l := range links {
		r := l.Revision
		var m Meta
		after := map[string]any{}
		var body map[string]any
		if json.Unmarshal(r.Body, &m) != nil || json.Unmarshal(r.Body, &body) != nil {
			return nil, &Error{Class: Internal, Text: "stored record cannot be read back"}
		}
		flatten("", body, after)
		prev, err := s.Store.Chain(ctx, ChainQuery{Before: l.Seq, Limit: 1})
		if err != nil {
			return nil, err
		}
		was := ""
		if len(prev) == 1 {
			was = prev[0].Hash
		}
		out = append(out, TrailStep{r.Rev, r.By, m.SaidBy, r.Account, r.Via, r.DeviceID, r.Server, r.DeviceAt, r.ServerAt, m.Reason,
			changesBetween(before, after), l.Seq, l.Hash, l.Hash != "" && ChainHash(was, r) == l.Hash})
		before = after
	}
	return out, nil
}

// notContent are fields about the writing, which stand in the step itself.
var notContent = map[string]bool{"id": true, "rev": true, "by": true, "said_by": true, "device_id": true, "device_at": true, "server_at": true, "clock_skew_s": true, "reason": true}

func flatten(at string, v any, into map[string]any) {
	m, ok := v.(map[string]any)
	if !ok || len(m) == 0 {
		into[at] = v
		return
	}
	for k, v := range m {
		if at == "" && notContent[k] {
			continue
		}
		flatten(strings.TrimPrefix(at+"."+k, "."), v, into)
	}
}

func changesBetween(before, after map[string]any) []TrailChange {
	fields := maps.Clone(before)
	maps.Copy(fields, after)
	out := []TrailChange{}
	for _, f := range slices.Sorted(maps.Keys(fields)) {
		if f != "" && !reflect.DeepEqual(before[f], after[f]) {
			out = append(out, TrailChange{f, before[f], after[f]})
		}
	}
	return out
}

// Take joins a revision to its link, which knows who was signed in.
func (l *Link) Take(r Revision) {
	r.Account, r.Via, r.Server = l.Revision.Account, l.Revision.Via, l.Revision.Server
	l.Revision = r
}
