package lab

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
)

// Class is the closed list of ways in which a request can fail.
type Class string

// The classes; internal/api maps each to one HTTP status.
const (
	Malformed Class = "malformed"     // cannot be read at all
	Invalid   Class = "invalid"       // read, but cannot be true
	NoSession Class = "not_signed_in" // nobody, or nobody any more, is signed in
	Forbidden Class = "forbidden"     // signed in, and may not
	Unproved  Class = "prove_again"   // signed in, and has to show again who they are
	TooMany   Class = "too_many"      // tried too often: wait
	NotFound  Class = "not_found"
	Conflict  Class = "conflict" // someone else wrote on the same base
	TooLarge  Class = "too_large"
	Full      Class = "storage_full"
	Busy      Class = "busy" // try again
	Internal  Class = "internal"
)

// Fault is one thing that is wrong with one field.
type Fault struct {
	Field   string `json:"location"`
	Value   any    `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
}

// Error carries what went wrong, where, and what would mend it.
type Error struct {
	Class  Class
	Text   string
	Faults []Fault
	// Current and Yours are the two versions of a conflict.
	Current, Yours json.RawMessage
	Err            error
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Text)
	for i, f := range e.Faults {
		if i > 0 || e.Text != "" {
			b.WriteString("; ")
		}
		b.WriteString(f.Field)
		if f.Value != nil {
			fmt.Fprintf(&b, " (%v)", f.Value)
		}
		b.WriteString(": " + f.Message)
		if f.Mend != "" {
			b.WriteString("; " + f.Mend)
		}
	}
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	return b.String()
}

func (e *Error) Unwrap() error { return e.Err }

// ClassOf tells the class of any error; what is not ours is Internal.
func ClassOf(err error) Class {
	if e, ok := errors.AsType[*Error](err); ok {
		return e.Class
	}
	return Internal
}

func fault(c Class, field string, value any, message, mend string) *Error {
	return &Error{Class: c, Faults: []Fault{{field, value, message, mend}}}
}
