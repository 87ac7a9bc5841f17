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
		time, at, ok := strings.Cut(stay, "@")
		var minutes quantity.Minutes
		if err := minutes.Set(time); !ok || err != nil {
			return nil, &quantity.Error{Field: "--stay", Value: stay, Message: "is not a time and a temperature", Mend: "write 14d@20C"}
		}
		list = append(list, map[string]any{"days": float64(minutes) / 1440, "temperature": at})
	}
	return list, nil
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
