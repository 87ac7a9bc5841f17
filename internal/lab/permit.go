package lab

import (
	"context"
	"slices"
	"strings"
)

// Role is something a person may do. Each is given by itself: who administers
// need not sign lots.
type Role string

// The roles. Line is a device at the filling line: it reads what the entry page
// shows, and writes samples and events, and nothing else.
const (
	RoleLine       Role = "line"
	RoleRead       Role = "read"
	RoleEnter      Role = "enter"
	RoleReview     Role = "review"
	RoleAdminister Role = "administer"
)

// Roles lists every role.
func Roles() []Role {
	return []Role{RoleLine, RoleRead, RoleEnter, RoleReview, RoleAdminister}
}

// Deed is what is done to the records besides writing one.
type Deed string

// The deeds.
const (
	DoRead      Deed = "read"      // current records, changes, a run, today
	DoHistory   Deed = "history"   // every revision of a record, the trail
	DoJudge     Deed = "judge"     // judgements, comparisons, months, papers
	DoRecompute Deed = "recompute" // results of a run again
	DoRelease   Deed = "release"   // set a held lot free
	DoImport    Deed = "import"    // old logs, and undoing it
	DoExport    Deed = "export"    // all data
	DoAccounts  Deed = "accounts"  // people's accounts, devices, others' tokens
)

// deeds is which roles may do what. A deed that is not here nobody may.
var deeds = map[Deed][]Role{
	DoRead:      {RoleLine, RoleRead, RoleEnter, RoleReview, RoleAdminister},
	DoHistory:   {RoleRead, RoleEnter, RoleReview, RoleAdminister},
	DoJudge:     {RoleRead, RoleEnter, RoleReview, RoleAdminister},
	DoRecompute: {RoleReview},
	DoRelease:   {RoleReview},
	DoImport:    {RoleReview},
	DoExport:    {RoleReview, RoleAdminister},
	DoAccounts:  {RoleAdminister},
}

// writers is which roles may write which collection: the day's work is entered,
// what it is judged by is reviewed, who and where is administered. A collection
// that is not here only an administrator may write.
var writers = map[Kind][]Role{
	KindSamples:      {RoleLine, RoleEnter, RoleReview},
	KindEvents:       {RoleLine, RoleEnter, RoleReview},
	KindRuns:         {RoleEnter, RoleReview},
	KindBatches:      {RoleEnter, RoleReview},
	KindTanks:        {RoleEnter, RoleReview},
	KindFormatLots:   {RoleEnter, RoleReview},
	KindMeterChecks:  {RoleEnter, RoleReview},
	KindInstruments:  {RoleEnter, RoleReview},
	KindStudies:      {RoleEnter, RoleReview},
	KindBrews:        {RoleEnter, RoleReview},
	KindMoves:        {RoleEnter, RoleReview},
	KindReadings:     {RoleEnter, RoleReview},
	KindBeers:        {RoleReview},
	KindFormats:      {RoleReview},
	KindLines:        {RoleReview},
	KindLimits:       {RoleReview},
	KindRules:        {RoleReview},
	KindCellarLimits: {RoleReview},
	KindDecisions:    {RoleReview},
	KindImports:      {RoleReview},
	KindPeople:       {RoleReview, RoleAdminister},
	KindBrewery:      {RoleReview, RoleAdminister},
}

// WhoMay lists the roles that may do a deed.
func WhoMay(d Deed) []Role { return slices.Clone(deeds[d]) }

// WhoMayWrite lists the roles that may write a collection.
func WhoMayWrite(k Kind) []Role {
	if w, ok := writers[k]; ok {
		return slices.Clone(w)
	}
	return []Role{RoleAdminister}
}

// Needs tells what p may not do and which roles may: of a deed by its name, of a
// collection as "write samples". It is the same table that refuses.
func (p Principal) Needs() map[string][]Role {
	out := map[string][]Role{}
	for d, roles := range deeds {
		if !p.Has(roles...) {
			out[string(d)] = WhoMay(d)
		}
	}
	for _, k := range Kinds() {
		if roles := WhoMayWrite(k); !p.Has(roles...) {
			out["write "+string(k)] = roles
		}
	}
	return out
}

// Principal is who a request acts as.
type Principal struct {
	Account string // id of the account; empty: an unnamed person
	Person  string // id in people, which stands on what is written; empty: the device's word stands
	Name    string
	Roles   []Role
	Via     string // how they showed who they are: password, pin, link, sign-on, token, device, open
	Device  string // id of the registered device, if it is one
	Proved  Time   // when they last typed what shows who they are; zero: not by a person, or by PIN
}

// Open is the unnamed person of a server without sign-in.
func Open() Principal { return Principal{Roles: Roles(), Via: "open"} }

// Has tells whether one of the roles is held.
func (p Principal) Has(roles ...Role) bool {
	return slices.ContainsFunc(roles, func(r Role) bool { return slices.Contains(p.Roles, r) })
}

type principalKey struct{}

// As makes a context that acts as p.
func As(ctx context.Context, p Principal) context.Context {
	return context.WithValue(ctx, principalKey{}, p)
}

// Who gives the principal of a context.
func Who(ctx context.Context) (Principal, bool) {
	p, ok := ctx.Value(principalKey{}).(Principal)
	return p, ok
}

// May refuses a deed that the context's principal may not do.
func (s *Service) May(ctx context.Context, d Deed) error {
	return s.permit(ctx, string(d), deeds[d])
}

// MayWrite refuses a collection that the context's principal may not write.
func (s *Service) MayWrite(ctx context.Context, k Kind) error {
	return s.permit(ctx, "write "+string(k), WhoMayWrite(k))
}

func (s *Service) permit(ctx context.Context, what string, roles []Role) error {
	if !s.Guarded {
		return nil
	}
	p, ok := Who(ctx)
	if !ok {
		return fault(NoSession, "session", nil, "nobody is signed in", "sign in, then send it again")
	}
	if p.Has(roles...) {
		return nil
	}
	names := make([]string, len(roles))
	for i, r := range roles {
		names[i] = string(r)
	}
	return fault(Forbidden, "role", what, "this account may not do that", "it takes the role "+strings.Join(names, " or ")+"; an administrator gives it")
}

// stamp puts the person of the session on a record. What the device said stays
// beside it where it differs: on a shared device one may send what another typed.
func stamp(ctx context.Context, m *Meta) {
	m.SaidBy = ""
	p, ok := Who(ctx)
	if !ok || p.Person == "" {
		return
	}
	if m.By != "" && m.By != p.Person {
		m.SaidBy = m.By
	}
	m.By = p.Person
}
