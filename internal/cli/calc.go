package cli

import (
	"encoding/json"
	"fmt"
	"strings"

	"ullage/core/calc"
	"ullage/core/quantity"
)

type calcCommand struct {
	Name   string   `arg:"" optional:"" help:"Calculation; without it, the list."`
	Inputs []string `arg:"" optional:"" placeholder:"FIELD=VALUE" help:"Inputs, such as temperature_c=20 or temperature=68F; - reads them as JSON."`
	Fields bool     `help:"List the fields of the calculation."`
}

func (calcCommand) Help() string {
	return `ullage calc air-saturation temperature_c=20 pressure_kpa=98.2
ullage calc partition temperature=39.2F
ullage calc shake-study minutes=[1,2,3,5,8] shaken_do_ppb=[30,38,41,43.5,44]`
}

func (c *calcCommand) Run(s *streams) error {
	if c.Name == "" {
		for _, entry := range calc.List() {
			fmt.Fprintf(s.out, "%-16s %s\n", entry.Name, entry.Help)
		}
		return nil
	}
	entry, err := calc.Find(c.Name)
	if err != nil {
		return err
	}
	if c.Fields || len(c.Inputs) == 0 {
		for _, f := range entry.Fields {
			need := ""
			if f.Required {
				need = " (needed)"
			}
			fmt.Fprintf(s.out, "%-28s %-8s %s%s\n", f.Name, f.Unit, f.Help, need)
		}
		return nil
	}
	input, err := c.input(s)
	if err != nil {
		return err
	}
	answer, err := calc.Do(c.Name, input)
	if err != nil {
		return err
	}
	enc := json.NewEncoder(s.out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(answer)
}

// input makes a JSON object of field=value words: values that are JSON stay,
// others are text with a unit.
func (c *calcCommand) input(s *streams) ([]byte, error) {
	if len(c.Inputs) == 1 && c.Inputs[0] == "-" {
		var raw json.RawMessage
		if err := json.NewDecoder(s.in).Decode(&raw); err != nil {
			return nil, &quantity.Error{Field: "standard input", Message: "is not JSON: " + err.Error()}
		}
		return raw, nil
	}
	fields := map[string]json.RawMessage{}
	for _, word := range c.Inputs {
		name, value, ok := strings.Cut(word, "=")
		if !ok {
			return nil, &quantity.Error{Field: word, Message: "is not of the form field=value", Mend: "see ullage calc " + c.Name + " --fields"}
		}
		if json.Valid([]byte(value)) {
			fields[name] = json.RawMessage(value)
			continue
		}
		text, err := json.Marshal(value)
		if err != nil {
			return nil, err
		}
		fields[name] = text
	}
	return json.Marshal(fields)
}
