package cli

import (
	"io"
	"strconv"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// history is the stays of the options.
func (c *planAge) history() ([]map[string]any, error) {
	var list []map[string]any
	for _, stay := range c.Stay {
		stay, sure, stated := strings.Cut(stay, ":")
		time, at, ok := strings.Cut(stay, "@")
		var days quantity.Days
		if err := days.Set(time); !ok || err != nil {
			return nil, &quantity.Error{Field: "--stay", Value: stay, Message: "is not a time and a temperature", Mend: "write 14d@20C"}
		}
		entry := map[string]any{"days": float64(days), "temperature": at}
		if stated {
			u, err := uOf("--stay", sure, "temperature")
			if err != nil {
				return nil, err
			}
			entry["u"] = u
		}
		list = append(list, entry)
	}
	return list, nil
}

// uOf reads u=1C, or u-KEY=1C and more of them, as uncertainties of an entry.
func uOf(option, text, own string) (map[string]any, error) {
	u := map[string]any{}
	for _, pair := range strings.Split(text, ",") {
		key, value, ok := strings.Cut(pair, "=")
		if key == "u" {
			key = "u-" + own
		}
		of, named := strings.CutPrefix(key, "u-")
		if !ok || !named {
			return nil, &quantity.Error{Field: option, Value: text, Message: "is no uncertainty", Mend: "write u=1C for example"}
		}
		u[of] = numberOr(value)
	}
	return u, nil
}

// Run gives the logger's text to the calculation, which reads it for every door.
// Rows that it left out are named on the error channel, and the exit code tells.
func (c *planAge) Run(s *streams) error {
	list, err := c.history()
	if err != nil {
		return err
	}
	more := map[string]any{"history": list}
	name := ""
	if c.Logger != "" {
		var in io.ReadCloser
		if in, name, err = open(s, c.Logger); err != nil {
			return err
		}
		defer in.Close()
		text, err := io.ReadAll(in)
		if err != nil {
			return err
		}
		more["logger"] = string(text)
	}
	var refused int
	err = plan(s, "age", c, more, &c.planOutput, printAge, func(r calc.AgeResult) {
		if r.Read == nil {
			return
		}
		refused = r.Read.Refused
		for _, f := range r.Read.Faults {
			complain(s, name, f)
		}
	})
	if err == nil && refused > 0 {
		return errFaults
	}
	return err
}

func complain(s *streams, name string, f calc.LoggerFault) {
	e := quantity.Error{Field: "line " + strconv.Itoa(f.Line), Value: f.Value, Message: f.Message, Mend: f.Mend}
	_, _ = io.WriteString(s.err, name+": "+e.Error()+"\n")
}
