package feed

import (
	"fmt"
	"io"

	"packlink/decode/bank"
	"packlink/decode/pack"
)

// Lines writes records as JSON lines: one object and one line end for each, in
// one write. It is for one goroutine.
type Lines struct {
	w io.Writer
	b []byte
}

// NewLines makes a writer of JSON lines to w.
func NewLines(w io.Writer) *Lines { return &Lines{w: w} }

// Pack writes a pack record. An error of the writer is returned.
func (l *Lines) Pack(s *pack.Status) error {
	l.b = append(s.AppendJSON(l.b[:0]), '\n')
	return writeLine(l.w, l.b)
}

// Bank writes a bank record. An error of the writer is returned.
func (l *Lines) Bank(b *bank.Bank) error {
	l.b = append(b.AppendJSON(l.b[:0]), '\n')
	return writeLine(l.w, l.b)
}

func writeLine(w io.Writer, line []byte) error {
	n, err := w.Write(line)
	if err == nil && n < len(line) {
		err = io.ErrShortWrite
	}
	if err != nil {
		return fmt.Errorf("a status line of %d bytes could not be written: %w", len(line), err)
	}
	return nil
}
