package ingest

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"ullage/internal/csvtext"
	"ullage/internal/lab"
)

// sniffer learns a file's character set from all of its bytes.
type sniffer struct {
	head      []byte
	rest      []byte // a rune cut off at the end of a piece
	broken    bool   // not UTF-8
	n, even   int    // bytes; zero bytes at even places
	odd, rare int    // zero bytes at odd places; other control bytes
}

func (s *sniffer) Write(p []byte) (int, error) {
	if len(s.head) < 512 {
		s.head = append(s.head, p[:min(len(p), 512-len(s.head))]...)
	}
	for i, c := range p {
		switch {
		case c == 0 && (s.n+i)%2 == 0:
			s.even++
		case c == 0:
			s.odd++
		case c < ' ' && c != '\n' && c != '\r' && c != '\t' && c != '\f' && c != '\v' && c != 0x1a && c != 0x1b:
			s.rare++
		}
	}
	s.n += len(p)
	if s.broken {
		return len(p), nil
	}
	text := append(s.rest, p...)
	cut := len(text)
	for back := 1; back < utf8.UTFMax && back <= len(text); back++ {
		if utf8.RuneStart(text[len(text)-back]) {
			if !utf8.FullRune(text[len(text)-back:]) {
				cut = len(text) - back
			}
			break
		}
	}
	s.broken = !utf8.Valid(text[:cut])
	s.rest = append([]byte(nil), text[cut:]...)
	return len(p), nil
}

// encoding names the character set; guessed when nothing in the file proves it.
// It is empty for what is not text.
func (s *sniffer) encoding() (name string, guessed bool) {
	switch {
	case bytes.HasPrefix(s.head, []byte("\xff\xfe")):
		return "utf-16le", false
	case bytes.HasPrefix(s.head, []byte("\xfe\xff")):
		return "utf-16be", false
	case s.odd > s.n/4 && s.even < s.n/50:
		return "utf-16le", true
	case s.even > s.n/4 && s.odd < s.n/50:
		return "utf-16be", true
	case s.even+s.odd+s.rare > s.n/50+1:
		return "", false
	case s.broken || len(s.rest) > 0:
		return "windows-1252", true
	}
	return "utf-8", false
}

// decoder turns the file's bytes into UTF-8.
func decoder(in io.Reader, encoding string) io.Reader {
	switch encoding {
	case "utf-16le":
		return transform.NewReader(in, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder())
	case "utf-16be":
		return transform.NewReader(in, unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewDecoder())
	case "windows-1252":
		return transform.NewReader(in, charmap.Windows1252.NewDecoder())
	}
	return in
}

const csvWindow = 256 << 10

// csvRows reads a CSV file in flat memory.
type csvRows struct {
	in    io.Reader
	shut  io.Closer
	file  string
	comma byte
	buf   []byte
	text  string // read, not given yet
	eof   bool
	line  int
}

func newCSV(in io.ReadCloser, file, encoding, separator string) *csvRows {
	r := &csvRows{in: decoder(in, encoding), shut: in, file: file, comma: ',', line: 1, buf: make([]byte, csvWindow)}
	if len(separator) == 1 {
		r.comma = separator[0]
	}
	return r
}

func (r *csvRows) close() error { return r.shut.Close() }

func (r *csvRows) fill() error {
	n, err := r.in.Read(r.buf)
	first := r.line == 1 && r.text == ""
	r.text += string(r.buf[:n])
	if first {
		r.text = strings.TrimPrefix(r.text, "\ufeff")
	}
	if errors.Is(err, io.EOF) {
		r.eof = true
		return nil
	}
	return err
}

func (r *csvRows) next() (rowText, error) {
	for {
		// Enough for the longest record there can be, so that one that is cut off
		// is cut off in the file.
		for !r.eof && len(r.text) < 2*csvtext.MaxRecord {
			if err := r.fill(); err != nil {
				return rowText{}, err
			}
		}
		if r.text == "" {
			return rowText{}, io.EOF
		}
		row, ok, err := r.cut()
		if err != nil || ok {
			return row, err
		}
	}
}

// cut takes one record; ok is false for a blank one.
func (r *csvRows) cut() (row rowText, ok bool, err error) {
	record, size, state := csvtext.Cut(r.text)
	row.n = r.line
	long := len(record) > csvtext.MaxRecord
	if long && size == len(r.text) && !r.eof {
		if err := r.dropLine(); err != nil {
			return row, false, err
		}
		size = 0
	}
	r.text = r.text[size:]
	r.line++
	if state == csvtext.Quoted {
		r.line += strings.Count(record, "\n")
	}
	record = strings.TrimSuffix(record, "\r")
	if strings.TrimSpace(record) == "" {
		return row, false, nil
	}
	fault := lab.ImportFault{File: r.file, Row: row.n, Value: shorten(strings.Map(printable, strings.ToValidUTF8(record, "?")), 80)}
	switch {
	case long:
		fault.Message, fault.Mend = "the line is longer than 64 KiB", "is a quote or a line end missing?"
	case !utf8.ValidString(record):
		fault.Message, fault.Mend = "the line is not UTF-8 text", "choose the file's character set, often Windows-1252"
	case strings.IndexByte(record, 0) >= 0:
		fault.Message, fault.Mend = "the line holds a zero byte", "save the file again as CSV UTF-8"
	default:
		var split bool
		if row.cells, split = csvtext.Cells(nil, record, state, r.comma); split {
			return row, !blank(row.cells), nil
		}
		fault.Message = "a quote is out of place or not closed"
		fault.Mend = `put quotes around the whole cell and double those inside: ""`
	}
	row.cells, row.fault = nil, &fault
	return row, true, nil
}

// dropLine leaves out the rest of an overlong line.
func (r *csvRows) dropLine() error {
	for {
		if i := strings.IndexByte(r.text, '\n'); i >= 0 {
			r.text = r.text[i+1:]
			return nil
		}
		if r.text = ""; r.eof {
			return nil
		}
		if err := r.fill(); err != nil {
			return err
		}
	}
}

// separatorOf finds what stands between cells: the mark that splits the first
// lines into the same number of cells most often, and into more than one.
func separatorOf(sample string) string {
	best, score := ",", 0
	for _, sep := range []string{";", "\t", ","} {
		counts, text := map[int]int{}, sample
		for n := 0; text != "" && n < 30; n++ {
			record, size, state := csvtext.Cut(text)
			text = text[size:]
			if cells, ok := csvtext.Cells(nil, record, state, sep[0]); ok && len(cells) > 1 {
				counts[len(cells)]++
			}
		}
		for cells, lines := range counts {
			if s := lines*100 + min(cells, 99); s > score {
				best, score = sep, s
			}
		}
	}
	return best
}
