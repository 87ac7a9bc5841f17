package batch

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strings"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"ullage/core/quantity"
	"ullage/internal/csvtext"
)

const (
	chunkSize = 256 << 10
	maxRecord = csvtext.MaxRecord
)

// decoded reads UTF-8, and UTF-16 where a byte order mark says so.
func decoded(in io.Reader) (io.Reader, error) {
	buffered := bufio.NewReaderSize(in, 64<<10)
	start, err := buffered.Peek(3)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	switch {
	case bytes.HasPrefix(start, []byte("\xef\xbb\xbf")):
		buffered.Discard(3)
	case bytes.HasPrefix(start, []byte("\xff\xfe")), bytes.HasPrefix(start, []byte("\xfe\xff")):
		return transform.NewReader(buffered, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder()), nil
	}
	return buffered, nil
}

// chunker cuts a file into pieces that end with a record.
type chunker struct {
	in   io.Reader
	rest []byte // read, not handed out yet
	line int    // number of the next line
	eof  bool
}

func newChunker(in io.Reader) *chunker { return &chunker{in: in, line: 1} }

// header takes the first line that is not blank.
func (c *chunker) header() (string, error) {
	for {
		for !c.eof && bytes.IndexByte(c.rest, '\n') < 0 && len(c.rest) < maxRecord {
			if err := c.fill(); err != nil {
				return "", err
			}
		}
		line, rest, _ := bytes.Cut(c.rest, []byte("\n"))
		if len(line) >= maxRecord {
			return "", &quantity.Error{Message: "the first line is longer than 64 KiB", Mend: "is this a CSV file? it needs a header line with the column names"}
		}
		if len(c.rest) == 0 {
			return "", &quantity.Error{Message: "the file is empty", Mend: "it needs a header line with the column names, then one line for each package"}
		}
		c.rest = rest
		c.line++
		if text := strings.TrimSpace(string(line)); text != "" {
			return text, nil
		}
	}
}

// next gives a chunk, or io.EOF.
func (c *chunker) next() (*chunk, error) {
	for !c.eof && len(c.rest) < chunkSize {
		if err := c.fill(); err != nil {
			return nil, err
		}
	}
	if len(c.rest) == 0 {
		return nil, io.EOF
	}
	cut := len(c.rest)
	if !c.eof {
		cut = lastRecordEnd(c.rest)
	}
	if cut == 0 {
		return c.overlong()
	}
	return c.take(cut), nil
}

// take hands out the first bytes of what was read.
func (c *chunker) take(cut int) *chunk {
	out := &chunk{data: string(c.rest[:cut]), line: c.line, done: make(chan struct{})}
	c.line += bytes.Count(c.rest[:cut], []byte("\n"))
	c.rest = append(c.rest[:0], c.rest[cut:]...)
	return out
}

// overlong hands out the start of a line that is longer than a chunk, enough
// for its fault, and drops the rest of it.
func (c *chunker) overlong() (*chunk, error) {
	out := &chunk{data: string(c.rest[:maxRecord+1]), line: c.line, done: make(chan struct{})}
	for {
		if i := bytes.IndexByte(c.rest, '\n'); i >= 0 {
			c.rest = append(c.rest[:0], c.rest[i+1:]...)
			c.line++
			return out, nil
		}
		c.rest = c.rest[:0]
		if c.eof {
			return out, nil
		}
		if err := c.fill(); err != nil {
			return nil, err
		}
	}
}

func (c *chunker) fill() error {
	if cap(c.rest)-len(c.rest) < 64<<10 {
		grown := make([]byte, len(c.rest), 2*cap(c.rest)+chunkSize+(64<<10))
		copy(grown, c.rest)
		c.rest = grown
	}
	n, err := c.in.Read(c.rest[len(c.rest):cap(c.rest)])
	c.rest = c.rest[:len(c.rest)+n]
	if errors.Is(err, io.EOF) {
		c.eof = true
		return nil
	}
	if err != nil {
		return &quantity.Error{Message: "the file could not be read: " + err.Error()}
	}
	return nil
}

// lastRecordEnd is the place after the last whole record of a piece that goes on.
func lastRecordEnd(piece []byte) int {
	end := bytes.LastIndexByte(piece, '\n') + 1
	if bytes.IndexByte(piece, '"') < 0 {
		return end
	}
	text, at := string(piece), 0
	for at < end {
		_, size, state := csvtext.Cut(text[at:])
		if state == csvtext.Unended && at > 0 {
			return at
		}
		at += size
	}
	return at
}
