package feed

import (
	"errors"
	"io"
	"strings"
	"testing"
)

func TestLines(t *testing.T) {
	var out strings.Builder
	l := NewLines(&out)
	b := boathouse(2)
	if err := errors.Join(l.Pack(&b.Packs[1]), l.Bank(b), l.Pack(&b.Packs[0])); err != nil {
		t.Fatal(err)
	}
	want := string(b.Packs[1].AppendJSON(nil)) + "\n" + string(b.AppendJSON(nil)) + "\n" + string(b.Packs[0].AppendJSON(nil)) + "\n"
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
}

// lossy takes no more than its length, and may say nothing about it.
type lossy struct {
	room int
	err  error
}

func (l lossy) Write(p []byte) (int, error) { return min(l.room, len(p)), l.err }

func TestWriteErrorsAreReturned(t *testing.T) {
	full := errors.New("no space left")
	b := boathouse()
	for _, c := range []struct {
		w    io.Writer
		want error
	}{{lossy{err: full}, full}, {lossy{room: 10, err: full}, full}, {lossy{room: 10}, io.ErrShortWrite}} {
		lines, summary := NewLines(c.w), NewSummary(c.w, 0)
		for i, err := range []error{lines.Pack(&b.Packs[0]), lines.Bank(b), summary.Bank(b)} {
			if !errors.Is(err, c.want) {
				t.Errorf("%+v, writer %d: got %v, want %v", c.w, i, err, c.want)
			}
		}
	}
}

func TestLinesDoNotAllocate(t *testing.T) {
	l := NewLines(io.Discard)
	b := boathouse()
	_ = l.Bank(b)
	if n := testing.AllocsPerRun(100, func() { _ = l.Bank(b); _ = l.Pack(&b.Packs[0]) }); n != 0 {
		t.Errorf("%v allocations for two records, want 0", n)
	}
}
