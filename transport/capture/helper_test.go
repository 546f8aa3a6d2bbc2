package capture

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"packlink/transport"
)

// text is a frame in one line, for comparing and for the vectors: the time in
// nanoseconds, the channel, the medium, the direction, the id, the flags, the data.
func text(f transport.Frame) string {
	return fmt.Sprintf("%d %d %s %s %X %s %s", f.Time, f.Channel, f.Medium, directionText(f.Direction), f.ID, flagsText(f.Flags), dataText(f.Data))
}

func directionText(d transport.Direction) string {
	return [...]string{"unknown", "received", "sent"}[d]
}

func flagsText(flags transport.Flags) string {
	var names []string
	for i, name := range []string{"extended", "remote", "error", "fd", "damaged", "lost"} {
		if flags&(1<<i) != 0 {
			names = append(names, name)
		}
	}
	if names == nil {
		return "-"
	}
	return strings.Join(names, "+")
}

func dataText(data []byte) string {
	if len(data) == 0 {
		return "-"
	}
	return fmt.Sprintf("%X", data)
}

// reading is all that a reader gives.
type reading struct {
	Frames     []string
	Faults     []string // the kind and the text of every error but io.EOF
	At, Left   int64    // what Torn says
	Interfaces []Interface
}

// readAll reads src to its end. The errors before it are resumable but for the
// last.
func readAll(t testing.TB, src io.Reader) reading {
	t.Helper()
	r, err := NewReader(src, "test")
	if err != nil {
		return reading{Faults: []string{faultText(t, err)}}
	}
	var all reading
	var f transport.Frame
	for err = r.Receive(&f); err != io.EOF; err = r.Receive(&f) {
		if err == nil {
			all.Frames = append(all.Frames, text(f))
			continue
		}
		all.Faults = append(all.Faults, faultText(t, err))
		if e := (*Error)(nil); !errors.As(err, &e) || !e.Resumable() {
			break
		}
	}
	if again := r.Receive(&f); again != err {
		t.Fatalf("%v was followed by %v", err, again)
	}
	all.At, all.Left = r.Torn()
	all.Interfaces = r.Interfaces()
	return all
}

func faultText(t testing.TB, err error) string {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("%v is not of type *Error", err)
	}
	return string(e.Kind) + ": " + err.Error()
}

// writeAll is a capture of the frames.
func writeAll(t testing.TB, buses []Bus, frames ...transport.Frame) []byte {
	t.Helper()
	var out bytes.Buffer
	w, err := NewWriter(&out, buses...)
	if err != nil {
		t.Fatal(err)
	}
	for i := range frames {
		if err := w.Send(&frames[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
