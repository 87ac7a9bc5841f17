package quantity

import (
	"errors"
	"strconv"
	"strings"
)

// Error is a refused input: the field, what was in it, why it was refused and
// the mend. Every door (API, command line, browser) shows these four parts.
type Error struct {
	Field   string `json:"field,omitempty"`
	Value   string `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
}

func (e *Error) Error() string {
	var b strings.Builder
	if e.Field != "" {
		b.WriteString(e.Field + ": ")
	}
	switch _, err := strconv.ParseFloat(e.Value, 64); {
	case e.Value == "":
	case err == nil:
		b.WriteString(e.Value + " ")
	default:
		b.WriteString(strconv.Quote(e.Value) + " ")
	}
	b.WriteString(e.Message)
	if e.Mend != "" {
		b.WriteString("; " + e.Mend)
	}
	return b.String()
}

// In names the field of an error that came from a value alone. Errors of other
// kinds and fields already named stay as they are.
func In(field string, err error) error {
	var e *Error
	if errors.As(err, &e) && e.Field == "" {
		named := *e
		named.Field = field
		return &named
	}
	return err
}
