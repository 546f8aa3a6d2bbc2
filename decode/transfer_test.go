package decode

import (
	"bytes"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"packlink/mapping"
	"packlink/transport"
)

// wire is a table with a message for each transfer, whose payloads may have any
// length, and the id of each.
func wire(tb testing.TB) (*mapping.Compiled, map[mapping.Transfer]uint32) {
	tb.Helper()
	const head = "packlink: 1\nname: wire\ntitle: t\nsource: [{title: s}]\nbus: {can: {bitrate: 250000, id_bits: 29}}\nmessages:\n"
	const message = "  - {name: %s, can: {%s, transfer: %s}, examples: [{hex: \"\", gives: {}, source: s}]}\n"
	table := compileText(tb, head+fmt.Sprintf(message, "fast", "pgn: 127506", "fast-packet")+
		fmt.Sprintf(message, "long", "pgn: 65226", "j1939")+
		fmt.Sprintf(message, "iso", "id: 0x18DA00F1, address: {bit: 8, width: 8}", "iso-tp"))
	ids := make(map[mapping.Transfer]uint32)
	for i := range table.Programs {
		ids[table.Programs[i].CAN.Transfer] = table.Programs[i].ID(0x21)
	}
	return table, ids
}

// sentMessage is a payload of a sender, and the frames that carry it.
type sentMessage struct {
	id      uint32
	by      mapping.Transfer
	payload []byte
	frames  []transport.Frame
}

func drawMessage(t *rapid.T, table *mapping.Compiled, sequence byte) sentMessage {
	p := &table.Programs[rapid.IntRange(0, len(table.Programs)-1).Draw(t, "message")]
	m := sentMessage{id: p.ID(rapid.Uint32Range(1, 5).Draw(t, "address")), by: p.CAN.Transfer}
	least := 0
	if m.by == mapping.ISOTP {
		least = 1
	}
	size := rapid.OneOf(rapid.IntRange(least, 30), rapid.IntRange(least, m.by.Most())).Draw(t, "size")
	m.payload = rapid.SliceOfN(rapid.Byte(), size, size).Draw(t, "payload")
	whole := transport.Frame{Medium: transport.CAN, ID: m.id, Flags: transport.Extended, Data: m.payload}
	err := split(m.by, sequence, &whole, func(f *transport.Frame) error {
		frame := *f
		frame.Data = bytes.Clone(f.Data)
		m.frames = append(m.frames, frame)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// key is what tells a message from others at the same time.
func (m *sentMessage) key() string { return fmt.Sprint(m.by, m.id&0xFFFF) }

// receive puts a frame through the transfers as a decoder does.
func receive(t *transfers, table *mapping.Compiled, f *transport.Frame) (*transport.Frame, Outcome) {
	p := table.FindCAN(f.ID, f.Flags&transport.Extended != 0)
	if p != nil {
		return t.take(p, f)
	}
	whole, outcome, ok := t.transported(table, f)
	if !ok {
		return nil, Unknown
	}
	return whole, outcome
}

// TestSplitThenPutTogether sends messages of several senders at once, frame by
// frame in any order among senders: each payload comes out as it went in.
func TestSplitThenPutTogether(t *testing.T) {
	table, _ := wire(t)
	rapid.Check(t, func(t *rapid.T) {
		var open []sentMessage
		busy := make(map[string]bool)
		for i := range rapid.IntRange(1, 6).Draw(t, "messages") {
			m := drawMessage(t, table, byte(i))
			if key := m.key(); !busy[key] {
				busy[key] = true
				open = append(open, m)
			}
		}
		var r transfers
		for at := int64(0); len(open) > 0; at++ {
			i := rapid.IntRange(0, len(open)-1).Draw(t, "sender")
			m := &open[i]
			f := m.frames[0]
			f.Time = at
			m.frames = m.frames[1:]
			whole, outcome := receive(&r, table, &f)
			if len(m.frames) > 0 {
				if whole != nil || outcome != Part {
					t.Fatalf("%v: a frame before the last is %v", m.by, outcome)
				}
				continue
			}
			if outcome != Decoded || whole.Time != at || !bytes.Equal(whole.Data, m.payload) || whole.ID&0x3FFFFFF != m.id&0x3FFFFFF {
				t.Fatalf("%v: %X: the last frame is %v and gives %+v, want % X", m.by, m.id, outcome, whole, m.payload)
			}
			open = slices.Delete(open, i, i+1)
		}
		if len(r.open) != 0 {
			t.Fatalf("%d transfers are open after the last", len(r.open))
		}
	})
}

// TestHarmIsNoticed loses, doubles or swaps frames of a transfer, or lets too
// much time pass: its payload never comes out as another one, nor twice.
func TestHarmIsNoticed(t *testing.T) {
	table, _ := wire(t)
	rapid.Check(t, func(t *rapid.T) {
		m := drawMessage(t, table, 0)
		n := len(m.frames)
		if n < 2 {
			t.Skip("one frame")
		}
		frames, delay := slices.Clone(m.frames), -1
		i := rapid.IntRange(0, n-1).Draw(t, "frame")
		switch rapid.SampledFrom([]string{"lose", "double", "swap", "late", "cut"}).Draw(t, "harm") {
		case "lose":
			frames = slices.Delete(frames, i, i+1)
		case "double":
			if i == 0 || i == n-1 {
				t.Skip("a first frame begins anew; behind the last there is no transfer")
			}
			frames = slices.Insert(frames, i, frames[i])
		case "swap":
			i = min(i, n-2)
			frames[i], frames[i+1] = frames[i+1], frames[i]
		case "late":
			delay = max(i, 1)
		case "cut":
			frames[i].Data = frames[i].Data[:rapid.IntRange(0, 1).Draw(t, "bytes")]
		}
		var r transfers
		at := int64(0)
		for i := range frames {
			if at++; i == delay {
				at += int64(isoTPPatience)
			}
			frames[i].Time = at
			if whole, outcome := receive(&r, table, &frames[i]); whole != nil || outcome == Decoded {
				t.Fatalf("%v of %d bytes in %d frames: frame %d is %v", m.by, len(m.payload), n, i, outcome)
			}
		}
	})
}

// TestFastPacketOfTheReferenceLibrary splits and reads the payloads that a
// general-purpose NMEA 2000 library built, against the frames that it sent
// (published check values, "n2k_payloads_by_reference_library").
func TestFastPacketOfTheReferenceLibrary(t *testing.T) {
	table, ids := wire(t)
	for _, v := range publishedFastPackets(t) {
		whole := transport.Frame{Medium: transport.CAN, ID: ids[mapping.FastPacket], Flags: transport.Extended, Data: v.payload}
		var r transfers
		var frames [][]byte
		var got *transport.Frame
		_ = split(mapping.FastPacket, 5, &whole, func(f *transport.Frame) error {
			frames = append(frames, bytes.Clone(f.Data))
			got, _ = receive(&r, table, f)
			return nil
		})
		if !slices.EqualFunc(frames, v.frames, bytes.Equal) {
			t.Errorf("% X is split into %X, want %X", v.payload, frames, v.frames)
		}
		if got == nil || !bytes.Equal(got.Data, v.payload) {
			t.Errorf("%X are put together to %v, want % X", v.frames, got, v.payload)
		}
	}
}

// TestOutcomesOfTransfers walks through what a listener hears of transfers that
// go wrong, and of connections, in which the receiver speaks too.
func TestOutcomesOfTransfers(t *testing.T) {
	table, _ := wire(t)
	for _, c := range transferCases {
		t.Run(c.name, func(t *testing.T) {
			var r transfers
			at := int64(0)
			for i, step := range c.steps {
				f := parseStep(t, step.frame)
				at += int64(time.Millisecond) + int64(step.after)
				f.Time = at
				whole, outcome := receive(&r, table, &f)
				payload := ""
				if whole != nil {
					payload = fmt.Sprintf("%X", whole.Data)
				}
				if outcome.String() != step.is || payload != step.gives {
					t.Errorf("step %d, %s: %v, %q; want %s, %q", i, step.frame, outcome, payload, step.is, step.gives)
				}
			}
		})
	}
}

// TestTransfersAreBounded begins more transfers than are followed: memory stays
// bounded, and the newest is followed.
func TestTransfersAreBounded(t *testing.T) {
	table, ids := wire(t)
	var r transfers
	for i := range 3 * MaxTransfers {
		for by, first := range map[mapping.Transfer][]byte{mapping.FastPacket: {0, 223, 1, 2, 3, 4, 5, 6}, mapping.ISOTP: {0x1F, 0xFF, 1, 2, 3, 4, 5, 6}} {
			f := transport.Frame{Time: int64(i), Medium: transport.CAN, ID: ids[by]&^0xFF00 | uint32(i&0xFF)<<8, Flags: transport.Extended, Data: first}
			if by == mapping.FastPacket {
				f.ID = ids[by]&^0xFF | uint32(i&0xFF)
			}
			receive(&r, table, &f)
		}
	}
	if len(r.open) != MaxTransfers {
		t.Errorf("%d transfers are followed", len(r.open))
	}
	newest := 3*MaxTransfers - 1
	next := transport.Frame{Time: int64(newest), Medium: transport.CAN, ID: ids[mapping.FastPacket]&^0xFF | uint32(newest&0xFF), Flags: transport.Extended, Data: []byte{1, 1, 2, 3, 4, 5, 6, 7}}
	if _, outcome := receive(&r, table, &next); outcome != Part {
		t.Errorf("the newest transfer goes on as %v", outcome)
	}
	for before, want := range map[int]Outcome{10: Part, MaxTransfers / 2: Gap} {
		next.ID = ids[mapping.FastPacket]&^0xFF | uint32((newest-before)&0xFF)
		if _, outcome := receive(&r, table, &next); outcome != want {
			t.Errorf("the transfer that began %d before the newest goes on as %v, want %v", before, outcome, want)
		}
	}
}

// TestClockSetBackAmidTransfers fills the transfers, sets the clock back by a day
// and wants two new ones followed side by side.
func TestClockSetBackAmidTransfers(t *testing.T) {
	table, ids := wire(t)
	var r transfers
	frame := func(at int64, address int, data ...byte) (outcome Outcome) {
		f := transport.Frame{Time: at, Medium: transport.CAN, ID: ids[mapping.FastPacket]&^0xFF | uint32(address), Flags: transport.Extended, Data: data}
		_, outcome = receive(&r, table, &f)
		return outcome
	}
	day := int64(24 * time.Hour)
	for i := range MaxTransfers {
		frame(day, i, 0, 8, 1, 2, 3, 4, 5, 6)
	}
	for address := range 2 {
		frame(0, address, 0x20, 8, 1, 2, 3, 4, 5, 6)
	}
	for address := range 2 {
		if got := frame(1, address, 0x21, 7, 8); got != Decoded {
			t.Errorf("the transfer of %d ends as %v", address, got)
		}
	}
}

// TestTransfersAllocateNothing holds that a payload costs no memory once its
// sender is known.
func TestTransfersAllocateNothing(t *testing.T) {
	table, ids := wire(t)
	for by, id := range ids {
		var frames []transport.Frame
		whole := transport.Frame{Medium: transport.CAN, ID: id, Flags: transport.Extended, Data: make([]byte, 100)}
		_ = split(by, 3, &whole, func(f *transport.Frame) error {
			frame := *f
			frame.Data = bytes.Clone(f.Data)
			frames = append(frames, frame)
			return nil
		})
		var r transfers
		if n := testing.AllocsPerRun(100, func() {
			for i := range frames {
				receive(&r, table, &frames[i])
			}
		}); n != 0 {
			t.Errorf("%v: %v allocations a payload", by, n)
		}
	}
}
