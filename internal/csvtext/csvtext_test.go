package csvtext

import (
	"slices"
	"strings"
	"testing"
)

// cut takes a text apart; a record whose quotes are broken is marked with !.
func cut(text string) (out []string) {
	for text != "" {
		record, size, state := Cut(text)
		text = text[size:]
		if cells, ok := Cells(nil, strings.TrimSuffix(record, "\r"), state, ','); ok {
			out = append(out, strings.Join(cells, "|"))
		} else {
			out = append(out, "!"+record)
		}
	}
	return out
}

func TestCutAndCells(t *testing.T) {
	for _, c := range []struct {
		text string
		want []string
	}{
		{"a,b\nc,d", []string{"a|b", "c|d"}},
		{"a,b\r\nc,\r\n", []string{"a|b", "c|"}},
		{"\"a,\"\"b\"\"\",c\nd", []string{"a,\"b\"|c", "d"}},
		{"\"two\nlines\",x\ny", []string{"two\nlines|x", "y"}},
		{"5\" pipe\ny", []string{"!5\" pipe", "y"}},
		{"\"open,x\ny\nz", []string{"!\"open,x", "y", "z"}},
		{"a \"b\" c\n\"d\"e\nf", []string{"!a \"b\" c", "!\"d\"e", "f"}},
		{"\"" + strings.Repeat("\nx", 60) + "\"", append([]string{"!\""}, append(slices.Repeat([]string{"x"}, 59), "!x\"")...)},
	} {
		if got := cut(c.text); !slices.Equal(got, c.want) {
			t.Errorf("%.40q: %q, want %q", c.text, got, c.want)
		}
	}
}

// Every byte belongs to one record, and cutting always goes on.
func FuzzCut(f *testing.F) {
	for _, s := range []string{"a,b\n\"c\nd\",e", "\"", "\n\n", "\"\"\"", "a\"b\nc"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for n := 0; text != ""; n++ {
			record, size, state := Cut(text)
			if size < 1 || size > len(text) || !strings.HasPrefix(text, record) || len(record) > size {
				t.Fatalf("%d bytes of %q in %d", len(record), text, size)
			}
			Cells(nil, record, state, ';')
			text = text[size:]
		}
	})
}
