package lab

import (
	"encoding/json"
	"time"
)

// Time is an instant with millisecond resolution. Empty prints as null.
// Devices send RFC 3339 with their own offset, which is kept.
type Time struct{ time.Time }

type timeFault struct{ text string }

func (e *timeFault) Error() string { return "not a time: " + e.text }

// At makes a Time of t, in UTC, to the millisecond.
func At(t time.Time) Time { return Time{t.UTC().Truncate(time.Millisecond)} }

// MarshalJSON writes RFC 3339 with milliseconds, or null.
func (t Time) MarshalJSON() ([]byte, error) {
	if t.IsZero() {
		return []byte("null"), nil
	}
	return json.Marshal(t.Format("2006-01-02T15:04:05.000Z07:00"))
}

// UnmarshalJSON reads RFC 3339; null and "" are the empty Time.
func (t *Time) UnmarshalJSON(b []byte) error {
	var s *string
	if err := json.Unmarshal(b, &s); err != nil {
		return &timeFault{string(b)}
	}
	if s == nil || *s == "" {
		*t = Time{}
		return nil
	}
	v, err := time.Parse(time.RFC3339Nano, *s)
	if err != nil {
		return &timeFault{*s}
	}
	*t = Time{v.Truncate(time.Millisecond)}
	return nil
}
