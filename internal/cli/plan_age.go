package cli

import (
	"encoding/csv"
	"errors"
	"io"
	"strconv"
	"strings"
	"time"

	"ullage/core/quantity"
)

// history is the stays of the options, or of a logger's file.
func (c *planAge) history(s *streams) ([]map[string]any, error) {
	var list []map[string]any
	for _, stay := range c.Stay {
		time, at, ok := strings.Cut(stay, "@")
		var minutes quantity.Minutes
		if err := minutes.Set(time); !ok || err != nil {
			return nil, &quantity.Error{Field: "--stay", Value: stay, Message: "is not a time and a temperature", Mend: "write 14d@20C"}
		}
		list = append(list, map[string]any{"days": float64(minutes) / 1440, "temperature": at})
	}
	if c.Logger == "" {
		return list, nil
	}
	in, name, err := open(s, c.Logger)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	logged, err := readLogger(in)
	if err != nil {
		return nil, quantity.In("--logger "+name, err)
	}
	return append(list, logged...), nil
}

// point is one row of a logger.
type point struct {
	days float64
	c    float64
}

// readLogger makes stays of a logger's rows: from each row to the next at the
// mean of the two temperatures.
func readLogger(in io.Reader) ([]map[string]any, error) {
	r := csv.NewReader(in)
	r.FieldsPerRecord, r.TrimLeadingSpace = -1, true
	head, err := r.Read()
	if err != nil {
		return nil, &quantity.Error{Message: "has no header", Mend: "begin with time,temperature_c"}
	}
	columns, err := loggerColumns(head)
	if err != nil {
		return nil, err
	}
	var stays []map[string]any
	var before *point
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		line, _ := r.FieldPos(0)
		if err != nil {
			return nil, &quantity.Error{Message: "line " + strconv.Itoa(line) + ": " + err.Error(), Mend: "check the file"}
		}
		p, err := columns.read(row)
		if err != nil {
			e := *err.(*quantity.Error)
			e.Message = "in line " + strconv.Itoa(line) + " " + e.Message
			return nil, &e
		}
		if before != nil {
			if p.days < before.days {
				return nil, &quantity.Error{Message: "line " + strconv.Itoa(line) + " is earlier than the one before", Mend: "sort the rows by time"}
			}
			stays = append(stays, map[string]any{"days": p.days - before.days, "temperature_c": (p.c + before.c) / 2})
		}
		before = &p
	}
	if len(stays) == 0 {
		return nil, &quantity.Error{Message: "has fewer than two rows", Mend: "give the logger's whole file"}
	}
	return stays, nil
}

type loggerFile struct {
	time, temperature int
	unit              string // of the time column: "", hours, days
	fahrenheit        bool
}

func loggerColumns(head []string) (loggerFile, error) {
	f := loggerFile{time: -1, temperature: -1}
	for i, name := range head {
		switch name = strings.ToLower(strings.Trim(name, "\ufeff ")); {
		case name == "time" || name == "hours" || name == "days":
			f.time = i
			if name != "time" {
				f.unit = name
			}
		case name == "temperature_c" || name == "temperature_f":
			f.temperature, f.fahrenheit = i, name == "temperature_f"
		}
	}
	if f.time < 0 || f.temperature < 0 {
		return f, &quantity.Error{Value: strings.Join(head, ","), Message: "lacks a column of time or of temperature", Mend: "name them time (or hours, days) and temperature_c (or temperature_f)"}
	}
	return f, nil
}

func (f *loggerFile) read(row []string) (p point, err error) {
	if len(row) <= max(f.time, f.temperature) {
		return p, &quantity.Error{Message: "a column is missing", Mend: "check the row"}
	}
	text := row[f.temperature]
	if f.fahrenheit {
		text += " °F"
	}
	var t quantity.Temperature
	if err := t.Set(text); err != nil {
		return p, err
	}
	p.c = float64(t)
	if f.unit != "" {
		p.days, err = strconv.ParseFloat(row[f.time], 64)
		if err != nil {
			return p, &quantity.Error{Value: row[f.time], Message: "is no number", Mend: "write 12.5"}
		}
		if f.unit == "hours" {
			p.days /= 24
		}
		return p, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04"} {
		if at, err := time.Parse(layout, row[f.time]); err == nil {
			p.days = float64(at.Unix()) / 86400
			return p, nil
		}
	}
	return p, &quantity.Error{Value: row[f.time], Message: "is no time", Mend: "write 2026-05-04 13:30 or 2026-05-04T13:30:00Z"}
}
