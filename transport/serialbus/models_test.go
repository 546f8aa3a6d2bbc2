package serialbus

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"packlink/transport"
)

// modelDevice answers reads of its registers on Modbus/TCP; others get exception 02.
type modelDevice struct {
	mu        sync.Mutex
	registers map[int]uint16
}

// set lays models behind a mark: ids and lengths in turn. Without an end nothing
// follows the last.
func (d *modelDevice) set(mark int, end bool, heads ...uint16) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.registers = map[int]uint16{mark: 0x5375, mark + 1: 0x6E53}
	at := mark + 2
	for i := 0; i < len(heads); i += 2 {
		d.registers[at], d.registers[at+1] = heads[i], heads[i+1]
		for range heads[i+1] {
			d.registers[at+2] = 7
			at++
		}
		at += 2
	}
	if end {
		d.registers[at] = 0xFFFF // some devices have no length behind the end
	}
}

func (d *modelDevice) answer(from, count int) []byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	pdu := []byte{3, byte(2 * count)}
	for i := range count {
		word, there := d.registers[from+i]
		if !there {
			return []byte{0x83, 2}
		}
		pdu = binary.BigEndian.AppendUint16(pdu, word)
	}
	return pdu
}

func (d *modelDevice) serve(c net.Conn) {
	defer c.Close()
	ask := make([]byte, 12)
	for {
		if _, err := io.ReadFull(c, ask); err != nil {
			return
		}
		pdu := d.answer(int(binary.BigEndian.Uint16(ask[8:])), int(binary.BigEndian.Uint16(ask[10:])))
		head := binary.BigEndian.AppendUint16(slices.Clone(ask[:4]), uint16(len(pdu)+1))
		if _, err := c.Write(append(append(head, ask[6]), pdu...)); err != nil {
			return
		}
	}
}

// pollModels asks a device for models 802 and 805, and hands over what is asked for
// and what is told.
func pollModels(t *testing.T, d *modelDevice) (asked chan [2]int, told chan string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go d.serve(c)
		}
	}()
	asked, told = make(chan [2]int, 1000), make(chan string, 100)
	e, _ := transport.ParseEndpoint("modbus-tcp:" + l.Addr().String())
	plan := Plan{Units: []byte{1}, Models: &Models{
		Function: 3, Marks: []uint16{40000, 0, 50000}, Mark: 0x53756E53, End: 0xFFFF,
		Every: func(id uint16) time.Duration {
			return map[uint16]time.Duration{802: 50 * time.Millisecond, 805: 50 * time.Millisecond}[id]
		},
	}}
	p, err := TransmitPolls(context.Background(), e, plan, func(e Event) { told <- e.String() })
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		var f transport.Frame
		for p.Receive(&f) == nil {
			if f.Direction == transport.Sent {
				select {
				case asked <- [2]int{int(binary.BigEndian.Uint16(f.Data[2:])), int(binary.BigEndian.Uint16(f.Data[4:]))}:
				default:
				}
			}
		}
	}()
	t.Cleanup(func() { p.Close(); <-done })
	return asked, told
}

// wantAsked takes the next requests and wants them to be these.
func wantAsked(t *testing.T, asked chan [2]int, want ...[2]int) {
	t.Helper()
	for i, w := range want {
		select {
		case got := <-asked:
			if got != w {
				t.Fatalf("request %d asks for %v, want %v", i+1, got, w)
			}
		case <-time.After(5 * time.Second):
			t.Fatalf("request %d, for %v, does not come", i+1, w)
		}
	}
}

// TestModelsAreFoundAndAsked holds the way to the models, wherever the mark stands:
// the marks in their order, each header, the end by its id alone, and then only
// the models that are wanted, in parts of at most 125 registers.
func TestModelsAreFoundAndAsked(t *testing.T) {
	for _, mark := range []int{40000, 0, 50000} {
		for _, end := range []bool{true, false} {
			d := &modelDevice{}
			d.set(mark, end, 1, 66, 802, 62, 805, 142)
			asked, _ := pollModels(t, d)
			for _, at := range []int{40000, 0, 50000} {
				wantAsked(t, asked, [2]int{at, 2})
				if at == mark {
					break
				}
			}
			wantAsked(t, asked, [2]int{mark + 2, 2}, [2]int{mark + 70, 2}, [2]int{mark + 134, 2}, [2]int{mark + 278, 2}, [2]int{mark + 278, 1},
				[2]int{mark + 70, 64}, [2]int{mark + 134, 125}, [2]int{mark + 259, 19})
		}
	}
}

// TestModelsThatChange holds that a chain whose headers change is walked anew, and
// that this is told once.
func TestModelsThatChange(t *testing.T) {
	d := &modelDevice{}
	d.set(40000, true, 1, 66, 802, 62)
	asked, told := pollModels(t, d)
	wantAsked(t, asked, [2]int{40000, 2}, [2]int{40002, 2}, [2]int{40070, 2}, [2]int{40134, 2}, [2]int{40134, 1}, [2]int{40070, 64})
	d.set(40000, true, 1, 66, 805, 46, 802, 62)
	for {
		if got := <-asked; got == [2]int{40000, 2} {
			break
		}
	}
	wantAsked(t, asked, [2]int{40002, 2}, [2]int{40070, 2}, [2]int{40118, 2}, [2]int{40182, 2}, [2]int{40182, 1}, [2]int{40070, 48}, [2]int{40118, 64})
	if text := <-told; !strings.Contains(text, "has other models than before; 3 are found") || len(told) > 0 {
		t.Errorf("told of %q and %d more", text, len(told))
	}
}

// TestUnitWithoutModels is told of once, and not asked in a loop.
func TestUnitWithoutModels(t *testing.T) {
	d := &modelDevice{registers: map[int]uint16{40000: 1, 40001: 2}}
	asked, told := pollModels(t, d)
	wantAsked(t, asked, [2]int{40000, 2}, [2]int{0, 2}, [2]int{50000, 2})
	if text := <-told; !strings.Contains(text, "has no models behind a mark at [40000 0 50000]") {
		t.Errorf("told of %q", text)
	}
	time.Sleep(200 * time.Millisecond)
	if len(asked) > 0 || len(told) > 0 {
		t.Errorf("%d more requests and %d more texts", len(asked), len(told))
	}
}
