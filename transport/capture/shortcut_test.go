package capture

import (
	"bytes"
	"reflect"
	"testing"

	"packlink/transport"
)

// outcome is what one call of a reader gave.
type outcome struct {
	frame transport.Frame
	err   string
}

// outcomes reads a pcapng to its end or first error, with the shortcut or
// without.
func outcomes(data []byte, receive func(*pcapng, *transport.Frame) error) (all []outcome) {
	r, err := NewReader(bytes.NewReader(data), "fuzz")
	if err != nil {
		return nil
	}
	p, is := r.format.(*pcapng)
	if !is {
		return nil
	}
	for {
		var f transport.Frame
		if err := receive(p, &f); err != nil {
			return append(all, outcome{err: err.Error()})
		}
		f.Data = bytes.Clone(f.Data)
		all = append(all, outcome{frame: f})
	}
}

// FuzzShortcut wants the shortcut to read what the long way reads.
func FuzzShortcut(f *testing.F) {
	var file bytes.Buffer
	w, err := NewWriter(&file, Bus{Name: "can0", Medium: transport.CAN}, Bus{Name: "line", Medium: transport.Serial})
	if err != nil {
		f.Fatal(err)
	}
	for _, frame := range []transport.Frame{
		{Time: 1, Medium: transport.CAN, ID: 0x351, Data: []byte{1, 2, 3, 4, 5, 6, 7, 8}},
		{Time: 2, Medium: transport.CAN, Direction: transport.Sent, Flags: transport.Extended, ID: 0x18FF4001, Data: []byte{1, 2}},
		{Time: 3, Medium: transport.CAN, Flags: transport.Damaged, ID: 1},
		{Time: 4, Medium: transport.CAN, Flags: transport.Remote, ID: 2},
		{Time: 5, Medium: transport.CAN, Flags: transport.FD, ID: 3, Data: make([]byte, 12)},
		{Time: 6, Medium: transport.Serial, Channel: 1, Data: []byte{1, 3, 0, 0, 0, 1}},
		{Time: 7, Medium: transport.CAN, Direction: transport.Received, ID: 0x7FF, Data: []byte{9}},
	} {
		if err := w.Send(&frame); err != nil {
			f.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		f.Fatal(err)
	}
	whole := file.Bytes()
	f.Add(whole)
	for i := 0; i < len(whole); i += 7 {
		bent := bytes.Clone(whole)
		bent[i] ^= 0xFF
		f.Add(bent)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		short, long := outcomes(data, (*pcapng).receive), outcomes(data, (*pcapng).walk)
		if !reflect.DeepEqual(short, long) {
			t.Errorf("with the shortcut %v, without %v", short, long)
		}
	})
}
