package api

import (
	"encoding/json"
	"errors"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ullage/internal/lab"
)

// Problem is the answer to a request that failed (RFC 9457).
type Problem struct {
	Type   string      `json:"type" doc:"about:blank, or a path of these docs naming the class of problem"`
	Title  string      `json:"title"`
	Status int         `json:"status"`
	Detail string      `json:"detail,omitempty"`
	Errors []lab.Fault `json:"errors,omitempty" doc:"one per faulty field: where, what value, why, and the mend"`
	// Current and Yours are set on a conflict.
	Current any `json:"current,omitempty" doc:"on a conflict: the record as it stands"`
	Yours   any `json:"yours,omitempty" doc:"on a conflict: the record as sent"`
}

func (p *Problem) Error() string { return p.Title + ": " + p.Detail }

// GetStatus gives the HTTP status.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType is that of RFC 9457.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

// classes maps each class of error to its one status and title.
var classes = map[lab.Class]struct {
	status int
	title  string
}{
	lab.Malformed: {http.StatusBadRequest, "The request cannot be read"},
	lab.Invalid:   {http.StatusUnprocessableEntity, "A value cannot be right"},
	lab.NoSession: {http.StatusUnauthorized, "Sign in"},
	lab.Forbidden: {http.StatusForbidden, "Not allowed"},
	lab.Unproved:  {http.StatusForbidden, "Show again who you are"},
	lab.TooMany:   {http.StatusTooManyRequests, "Too many tries"},
	lab.NotFound:  {http.StatusNotFound, "Not found"},
	lab.Conflict:  {http.StatusConflict, "Someone else wrote first"},
	lab.TooLarge:  {http.StatusRequestEntityTooLarge, "The request is too large"},
	lab.Full:      {http.StatusInsufficientStorage, "The server's disk is full"},
	lab.Busy:      {http.StatusServiceUnavailable, "The server is busy"},
	lab.Internal:  {http.StatusInternalServerError, "The server failed"},
}

// problem turns any error into the answer for it.
func problem(err error) *Problem {
	if p, ok := errors.AsType[*Problem](err); ok {
		return p
	}
	class := lab.ClassOf(err)
	c := classes[class]
	p := &Problem{Type: "/api/docs#problem-" + string(class), Title: c.title, Status: c.status, Detail: err.Error()}
	e, ok := errors.AsType[*lab.Error](err)
	if !ok || class == lab.Internal {
		// What went wrong inside is for the log, not for the network.
		p.Detail = "nothing of this request was acknowledged; try again, then look at the server's log"
		return p
	}
	p.Errors, p.Detail = e.Faults, inWords(e)
	if e.Current != nil {
		p.Current, p.Yours = e.Current, e.Yours
	}
	return p
}

// inWords says each fault in a line; what lies below it in the server is for
// the log.
func inWords(e *lab.Error) string {
	lines := make([]string, 0, len(e.Faults))
	for _, f := range e.Faults {
		lines = append(lines, strings.TrimSuffix(f.Field+": "+f.Message+"; "+f.Mend, "; "))
	}
	if len(lines) == 0 {
		return e.Text
	}
	return strings.Join(lines, "\n")
}

func newProblem(class lab.Class, field string, value any, message, mend string) *Problem {
	return problem(&lab.Error{Class: class, Faults: []lab.Fault{{Field: field, Value: value, Message: message, Mend: mend}}})
}

// humaProblem is what the routing library's own refusals become.
func humaProblem(status int, msg string, errs ...error) huma.StatusError {
	if status == http.StatusInternalServerError && msg == "cannot read request body" {
		return newProblem(lab.Malformed, "body", nil, "does not come as its headers say, or was cut off", "send it again")
	}
	p := &Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: msg}
	for class, c := range classes {
		if c.status == status && class != lab.Unproved {
			p.Type, p.Title = "/api/docs#problem-"+string(class), c.title
		}
	}
	if status == http.StatusRequestEntityTooLarge {
		p.Errors = append(p.Errors, lab.Fault{Field: "body", Message: msg,
			Mend: "send records one by one, or a batch in several parts"})
		return p
	}
	for _, err := range errs {
		var d huma.ErrorDetailer
		if errors.As(err, &d) {
			e := d.ErrorDetail()
			p.Errors = append(p.Errors, lab.Fault{Field: e.Location, Value: e.Value, Message: e.Message, Mend: mendFor(e.Message)})
		} else if err != nil && status < 500 {
			p.Errors = append(p.Errors, lab.Fault{Field: "request", Message: err.Error()})
		}
	}
	return p
}

func mendFor(message string) string {
	switch {
	case strings.Contains(message, "unknown query"):
		return "leave it out or correct its name"
	case strings.Contains(message, "invalid integer"), strings.Contains(message, "expected number"):
		return "send a whole number"
	}
	return "see /api/docs for what this field takes"
}

func writeProblem(w http.ResponseWriter, p *Problem) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	_ = json.NewEncoder(w).Encode(p)
}
