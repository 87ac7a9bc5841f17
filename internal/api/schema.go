package api

import (
	"net/http"
	"reflect"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ullage/core/causes"
	"ullage/core/cellar"
	"ullage/core/way"
	"ullage/core/wort"
	"ullage/internal/lab"
)

// Bodies are read strictly by lab and answered as stored, byte for byte; the
// types here only describe them.

// Put asks for one new revision.
type Put[T any] struct {
	BaseRev int      `json:"base_rev" minimum:"0" doc:"the revision this one builds on; 0 to create"`
	SentAt  lab.Time `json:"sent_at,omitzero" doc:"the device's clock at sending; shows a wrong clock"`
	Record  T        `json:"record"`
}

// Stored answers a write.
type Stored[T any] struct {
	Status   lab.Status    `json:"status" enum:"created,updated,unchanged"`
	Record   T             `json:"record" doc:"as it now stands"`
	Warnings []lab.Warning `json:"warnings" doc:"what is odd; the write was done nevertheless"`
}

// List is one page of current records.
type List[T any] struct {
	Records []T    `json:"records"`
	Next    string `json:"next,omitempty" doc:"send as after for the next page; absent at the end"`
}

// History is all revisions of one record, oldest first.
type History[T any] struct {
	Revisions []T `json:"revisions"`
}

func aliasTypes(r huma.Registry) {
	r.RegisterTypeAlias(reflect.TypeFor[lab.Time](), reflect.TypeFor[time.Time]())
}

// schemaName tells the core's batches, moves and readings of a map, and its
// rules of wort, from the records of the same name.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.PkgPath() {
	case reflect.TypeFor[cellar.Map]().PkgPath(), reflect.TypeFor[way.Batch]().PkgPath(), reflect.TypeFor[causes.Finding]().PkgPath():
		return "Map" + name
	case reflect.TypeFor[wort.Target]().PkgPath():
		return "Wort" + name
	}
	return name
}

// raw is a body read by the handler itself.
type raw struct {
	ID          string `path:"id" doc:"UUIDv7 of the record" maxLength:"64"`
	ContentType string `header:"Content-Type" hidden:"true"`
	RawBody     []byte `contentType:"application/json"`
}

// reply is JSON that the handler made itself.
type reply struct {
	ContentType  string `header:"Content-Type" hidden:"true"`
	CacheControl string `header:"Cache-Control" hidden:"true"`
	Status       int
	Body         []byte
}

func jsonReply(status int, body []byte) *reply {
	return &reply{ContentType: "application/json", CacheControl: "no-store", Status: status, Body: body}
}

// describe makes the answer's schema of T, and the problems that may come.
func describe[T any](s *Server, op huma.Operation, problems ...int) huma.Operation {
	r := s.api.OpenAPI().Components.Schemas
	t := reflect.TypeFor[T]()
	op.Responses = map[string]*huma.Response{"200": {
		Description: "OK",
		Content:     map[string]*huma.MediaType{"application/json": {Schema: r.Schema(t, true, t.Name())}},
	}}
	op.Errors = append(problems, http.StatusInternalServerError)
	return op
}

// takes sets the schema of an operation's body, after it was registered.
func takes[T any](s *Server, op *huma.Operation) {
	r := s.api.OpenAPI().Components.Schemas
	t := reflect.TypeFor[T]()
	op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
		"application/json": {Schema: r.Schema(t, true, t.Name())}}}
}
