package checks

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
)

// UnmarshalJSON takes a number, a word, a truth value or a range.
func (w *Want) UnmarshalJSON(text []byte) error {
	text = bytes.TrimSpace(text)
	if len(text) > 0 && text[0] == '{' {
		d := json.NewDecoder(bytes.NewReader(text))
		d.DisallowUnknownFields()
		var r struct{ Above, Below *float64 }
		if err := d.Decode(&r); err != nil {
			return err
		}
		if r.Above == nil && r.Below == nil {
			return errors.New("a range needs above or below")
		}
		w.Above, w.Below = r.Above, r.Below
		return nil
	}
	var v any
	if err := json.Unmarshal(text, &v); err != nil {
		return err
	}
	switch v := v.(type) {
	case float64:
		w.Number = &v
	case string, bool:
		w.Exact = v
	default:
		return fmt.Errorf("%s is no number, word, truth value or range", text)
	}
	return nil
}

// String prints what is wanted.
func (w Want) String() string {
	switch {
	case w.Number != nil:
		return fmt.Sprint(*w.Number)
	case w.Exact != nil:
		return fmt.Sprint(w.Exact)
	case w.Above != nil && w.Below != nil:
		return fmt.Sprintf("%v to %v", *w.Above, *w.Below)
	case w.Above != nil:
		return fmt.Sprintf("above %v", *w.Above)
	case w.Below != nil:
		return fmt.Sprintf("below %v", *w.Below)
	}
	return ""
}

// UnmarshalJSON takes {"abs": …} or {"rel": …} for all outputs, or one such
// object for each output.
func (t *Tolerances) UnmarshalJSON(text []byte) error {
	var keys map[string]json.RawMessage
	if err := json.Unmarshal(text, &keys); err != nil {
		return err
	}
	*t = Tolerances{}
	if keys["abs"] != nil || keys["rel"] != nil {
		one, err := tolerance(text)
		(*t)[""] = one
		return err
	}
	for output, part := range keys {
		one, err := tolerance(part)
		if err != nil {
			return fmt.Errorf("tolerance of %s: %w", output, err)
		}
		(*t)[output] = one
	}
	return nil
}

func tolerance(text []byte) (Tolerance, error) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	var t Tolerance
	if err := d.Decode(&t); err != nil {
		return t, err
	}
	if (t.Abs == nil) == (t.Rel == nil) {
		return t, errors.New("needs abs or rel, and only one of them")
	}
	return t, nil
}
