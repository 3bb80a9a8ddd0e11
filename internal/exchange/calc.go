package exchange

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"

	"hoseward/internal/life"
)

// MaxLine is the longest line of `calc life` that is read, in bytes, its end
// included. A longer one is an error of that line.
const MaxLine = 1 << 20

// Detail says how much `calc life` answers.
type Detail int

// The details.
const (
	Plain       Detail = iota // the estimate
	WithWorking               // and how it was worked out
)

// CalcCounts says how many lines were answered, and how many of these with an
// error.
type CalcCounts struct{ Lines, Bad int64 }

// CalcLife reads JSON Lines from r, one assembly a line, and writes one line
// for each to w, in the same order: its estimate, or {"line": n, "error": ...}
// where it cannot be read or estimated. Lines are counted from 1. Empty lines
// are counted and not answered, a byte order mark at the start is dropped,
// lines may end in CR LF and the last one need not end at all.
//
// The lines are worked on by as many goroutines as there are processors, in
// batches; memory does not grow with the input. What has been read is answered
// before more is waited for. An error is one of r, of w, or of ctx; in the
// last two cases r may still be in a Read when CalcLife returns.
func CalcLife(ctx context.Context, r io.Reader, w io.Writer, detail Detail) (CalcCounts, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	workers := runtime.GOMAXPROCS(0)
	p := pipeline{
		work:  make(chan *batch, 2*workers),
		order: make(chan *batch, 2*workers),
		free:  make(chan *batch, 2*workers+2),
	}
	readErr := make(chan error, 1)
	go func() { readErr <- p.read(ctx, r) }()
	for range workers {
		go func() {
			var c calculator
			for b := range p.work {
				c.answer(b, detail)
				b.done <- struct{}{}
			}
		}()
	}
	counts, err := p.write(ctx, w)
	if err != nil {
		return counts, err
	}
	return counts, <-readErr
}

// pipeline carries batches from the reader to the workers (work) and, in the
// order they were read, to the writer (order), which hands them back (free).
type pipeline struct{ work, order, free chan *batch }

// batch is some lines that stand one behind another.
type batch struct {
	data   []byte
	lines  []lineAt
	out    []byte
	counts CalcCounts
	done   chan struct{}
}

// lineAt is where a line ends in batch.data, from the end of the one before.
type lineAt struct {
	number int64
	end    int
	long   bool // longer than MaxLine: nothing of it was kept
}

// batchBytes is about how much a batch holds; keepBytes is the most memory
// that is kept of one for the next.
const (
	batchBytes = 64 << 10
	keepBytes  = 512 << 10
)

// read cuts r into batches. It closes order and work when it ends.
func (p *pipeline) read(ctx context.Context, r io.Reader) error {
	defer close(p.work)
	defer close(p.order)
	in := bufio.NewReaderSize(r, MaxLine)
	if mark, err := in.Peek(3); err == nil && string(mark) == "\ufeff" {
		in.Discard(3) // cannot fail, it is buffered
	}
	b := p.empty()
	for number := int64(1); ; number++ {
		line, err := in.ReadSlice('\n')
		long := errors.Is(err, bufio.ErrBufferFull)
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = in.ReadSlice('\n')
		}
		if err != nil && err != io.EOF {
			p.send(ctx, b)
			return fmt.Errorf("read line %d: %w", number, err)
		}
		b.add(line, number, long)
		if err == io.EOF {
			p.send(ctx, b)
			return nil
		}
		if len(b.data) >= batchBytes || in.Buffered() == 0 {
			if !p.send(ctx, b) {
				return ctx.Err()
			}
			b = p.empty()
		}
	}
}

// add takes a line unless it is empty.
func (b *batch) add(line []byte, number int64, long bool) {
	switch {
	case long:
		b.lines = append(b.lines, lineAt{number, len(b.data), true})
	case len(bytes.TrimSpace(line)) > 0:
		b.data = append(b.data, line...)
		b.lines = append(b.lines, lineAt{number, len(b.data), false})
	}
}

// send passes a batch on; false if ctx ended first.
func (p *pipeline) send(ctx context.Context, b *batch) bool {
	for _, to := range []chan *batch{p.order, p.work} {
		select {
		case to <- b:
		case <-ctx.Done():
			return false
		}
	}
	return true
}

func (p *pipeline) empty() *batch {
	select {
	case b := <-p.free:
		return b
	default:
		return &batch{done: make(chan struct{}, 1)}
	}
}

// write writes what the workers made of each batch.
func (p *pipeline) write(ctx context.Context, w io.Writer) (CalcCounts, error) {
	var counts CalcCounts
	for {
		var b *batch
		select {
		case b = <-p.order:
		case <-ctx.Done():
			return counts, ctx.Err()
		}
		if b == nil {
			return counts, nil
		}
		select {
		case <-b.done:
		case <-ctx.Done():
			return counts, ctx.Err()
		}
		if len(b.out) > 0 { // writing nothing would wait on a pipe
			if _, err := w.Write(b.out); err != nil {
				return counts, fmt.Errorf("write the answers: %w", err)
			}
		}
		counts.Lines += b.counts.Lines
		counts.Bad += b.counts.Bad
		p.recycle(b)
	}
}

func (p *pipeline) recycle(b *batch) {
	if cap(b.data) > keepBytes || cap(b.out) > 4*keepBytes {
		return
	}
	*b = batch{data: b.data[:0], lines: b.lines[:0], out: b.out[:0], done: b.done}
	select {
	case p.free <- b:
	default:
	}
}

// calculator answers lines, one at a time.
type calculator struct{ in LifeReader }

func (c *calculator) answer(b *batch, detail Detail) {
	begin := 0
	for _, at := range b.lines {
		var err error
		out := b.out
		if at.long {
			err = &LineError{Sentence: fmt.Sprintf("is longer than %d bytes; give one assembly a line", MaxLine)}
		} else {
			out, err = c.line(b.out, b.data[begin:at.end], detail)
		}
		begin = at.end
		if err != nil {
			out = AppendLineError(b.out, at.number, err)
			b.counts.Bad++
		}
		b.counts.Lines++
		b.out = append(out, '\n')
	}
}

// line appends the answer to one line.
func (c *calculator) line(dst, line []byte, detail Detail) ([]byte, error) {
	a, asOf, err := c.in.Read(line)
	if err != nil {
		return dst, err
	}
	e, err := life.Of(&a, asOf)
	if err != nil {
		return dst, err
	}
	var steps []life.Step
	if detail == WithWorking {
		if steps, err = life.Working(&a, asOf); err != nil {
			return dst, err
		}
		if steps == nil {
			steps = []life.Step{}
		}
	}
	return AppendEstimate(dst, &e, steps)
}
