package cli

import (
	"fmt"
	"strings"

	"ullage/checks"
	"ullage/core/calc"
)

type checkCommand struct {
	Verbose bool   `short:"v" help:"Print every value; without it, a line for each source and every value that is off."`
	Only    string `placeholder:"WORD" help:"Only the files whose name or source holds this word."`
}

func (checkCommand) Help() string {
	return `Runs every published check value through this very program and compares: what the
source says, what came out, and how far off it may be.`
}

func (c *checkCommand) Run(s *streams) error {
	files, err := checks.Load()
	if err != nil {
		return err
	}
	passed, failed := 0, 0
	for _, f := range files {
		if c.Only != "" && !strings.Contains(f.Name+f.Source, c.Only) {
			continue
		}
		good, bad, lines := 0, 0, ""
		for i := range f.Cases {
			for _, line := range runCase(&f, &f.Cases[i]) {
				if line.ok {
					good++
				} else {
					bad++
				}
				if c.Verbose || !line.ok {
					lines += line.text
				}
			}
		}
		fmt.Fprintf(s.out, "%s  %d of %d  %s\n%s", mark(bad == 0), good, good+bad, f.Source, lines)
		passed, failed = passed+good, failed+bad
	}
	fmt.Fprintf(s.out, "%d values as wanted, %d off\n", passed, failed)
	if failed > 0 || passed == 0 {
		return errFaults
	}
	return nil
}

type checkLine struct {
	ok   bool
	text string
}

func runCase(f *checks.File, c *checks.Case) []checkLine {
	answer, err := calc.Run(c.Calc, c.Input)
	if err != nil {
		return []checkLine{{false, fmt.Sprintf("    off  %s: %v\n", c.ID, err)}}
	}
	findings, err := c.Compare(answer)
	if err != nil {
		return []checkLine{{false, fmt.Sprintf("    off  %s: %v\n", c.ID, err)}}
	}
	var lines []checkLine
	for _, g := range findings {
		lines = append(lines, checkLine{g.OK, fmt.Sprintf("    %s  %-36s %-28s want %-16s got %-16s tolerance %.3g  [%s] %s\n",
			mark(g.OK), c.ID, g.Output, g.Want, got(g.Got), g.Allowed, strings.Join(c.Flags, " "), c.Source)})
	}
	return lines
}

func mark(ok bool) string {
	if ok {
		return "ok "
	}
	return "off"
}

func got(v any) string {
	if f, ok := v.(float64); ok {
		return fmt.Sprintf("%.10g", f)
	}
	return fmt.Sprint(v)
}
