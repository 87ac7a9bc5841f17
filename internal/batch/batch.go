// Package batch streams a CSV file of packages through the TPO calculation,
// line by line, on all cores and in flat memory. A bad row is reported and the
// others go on.
//
// It does not keep what it reads (internal/ingest does that for a laboratory's
// records) and it does not know the physics (core/calc does).
package batch

import (
	"errors"
	"fmt"
	"io"
	"runtime"
	"sync"

	"ullage/core/calc"
	"ullage/core/quantity"
)

// Fault is a row that was refused.
type Fault struct {
	File string
	Line int
	Err  *quantity.Error
}

func (f Fault) Error() string { return fmt.Sprintf("%s:%d: %v", f.File, f.Line, f.Err) }

// Job says what to do with a file.
type Job struct {
	Name     string        // of the file, for faults
	Defaults calc.TPOInput // fills columns that the file leaves out, and empty cells
	Format   Format        // of the output
	Workers  int           // 0: one for each core
	OnFault  func(Fault)   // told in the order of the file
	OnNote   func(string)  // told once each: columns that are not used
}

// Summary counts the rows of a file.
type Summary struct{ Rows, Faults int }

// chunk is a piece of the file that ends with a record.
type chunk struct {
	data   string
	line   int // of its first record
	out    []byte
	faults []Fault
	rows   int
	done   chan struct{}
}

// Run computes every row of in and writes the results to out in their order.
// The error is of the file as a whole (no header, not readable, disk full);
// what is wrong with a row goes to OnFault.
func (j Job) Run(in io.Reader, out io.Writer) (Summary, error) {
	text, err := decoded(in)
	if err != nil {
		return Summary{}, err
	}
	chunks := newChunker(text)
	header, err := chunks.header()
	if err != nil {
		return Summary{}, Fault{j.Name, 1, asInput(err)}
	}
	columns, err := readHeader(header, j.OnNote)
	if err != nil {
		return Summary{}, Fault{j.Name, chunks.line - 1, asInput(err)}
	}
	if _, err := out.Write(j.Format.head()); err != nil {
		return Summary{}, err
	}
	sum, err := j.pump(chunks, columns, out)
	if err == nil {
		_, err = out.Write(j.Format.foot())
	}
	return sum, err
}

// pump runs reader, workers and writer. Chunks go to the workers and, in the
// same order, to the writer, which waits for each.
func (j Job) pump(chunks *chunker, columns *columns, out io.Writer) (Summary, error) {
	workers := j.Workers
	if workers == 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	work, order := make(chan *chunk, workers), make(chan *chunk, 2*workers)
	stop := make(chan struct{})
	var spare sync.Pool // buffers of results already written
	var readErr error
	go func() {
		defer close(order)
		defer close(work)
		for {
			c, err := chunks.next()
			if err != nil {
				if !errors.Is(err, io.EOF) {
					readErr = err
				}
				return
			}
			select {
			case order <- c:
				work <- c
			case <-stop:
				return
			}
		}
	}()
	var group sync.WaitGroup
	for range workers {
		group.Go(func() {
			w := newWorker(j, columns)
			w.spare = &spare
			for c := range work {
				w.do(c)
				close(c.done)
			}
		})
	}
	sum, err := j.write(order, out, &spare)
	if err != nil {
		close(stop)
		for c := range order {
			<-c.done
		}
	}
	group.Wait()
	if err == nil {
		err = readErr
	}
	return sum, err
}

func (j Job) write(order <-chan *chunk, out io.Writer, spare *sync.Pool) (Summary, error) {
	var sum Summary
	for c := range order {
		<-c.done
		text := c.out
		if sum.Rows == sum.Faults { // nothing written yet
			text = j.Format.first(text)
		}
		if _, err := out.Write(text); err != nil {
			return sum, fmt.Errorf("the results could not be written: %w", err)
		}
		used := c.out // not the chunk with its text
		spare.Put(&used)
		sum.Rows += c.rows
		sum.Faults += len(c.faults)
		for _, f := range c.faults {
			if j.OnFault != nil {
				j.OnFault(f)
			}
		}
	}
	return sum, nil
}

func asInput(err error) *quantity.Error {
	var e *quantity.Error
	if errors.As(err, &e) {
		return e
	}
	return &quantity.Error{Message: err.Error()}
}
