//go:build linux

package serialbus

import (
	"bytes"
	"encoding/binary"
	"io"
	"testing"
	"time"

	"packlink/transport"
)

// answerRTU answers reads of holding registers on a serial line.
func (d *modelDevice) answerRTU(_ byte, request, response []byte) []byte {
	if request[0] != 3 || len(request) != 5 {
		return append(response, request[0]|exceptionFlag, 1)
	}
	return append(response, d.answer(int(binary.BigEndian.Uint16(request[1:])), int(binary.BigEndian.Uint16(request[3:])))...)
}

// TestModelsOnALine finds the models of a unit that is answered for on a serial line,
// also behind an adapter that holds bytes back, and reads those that are wanted: the
// mark is not at the first place, and the end has no length.
func TestModelsOnALine(t *testing.T) {
	for name, tear := range map[string]func(io.Writer, []byte){"straight": straight, "torn": torn} {
		t.Run(name, func(t *testing.T) {
			d := &modelDevice{}
			d.set(0, true, 1, 66, 802, 62, 805, 142)
			theirs, ours := plug(t, ""), plug(t, "")
			cable(t, theirs, ours, tear)
			answerWith(t, "modbus-rtu:"+theirs.port+"?baud=115200", d.answerRTU, nil, 17)
			f, _ := poll(t, "serial:"+ours.port+"?baud=115200", Plan{Units: []byte{17}, Timeout: time.Second, Models: &Models{
				Function: 3, Marks: []uint16{40000, 0, 50000}, Mark: 0x53756E53, End: 0xFFFF,
				Every: func(id uint16) time.Duration {
					return map[uint16]time.Duration{802: 50 * time.Millisecond, 805: 50 * time.Millisecond}[id]
				},
			}})
			for i, want := range [][2]uint16{{40000, 2}, {0, 2}, {2, 2}, {70, 2}, {134, 2}, {278, 2}, {278, 1}, {70, 64}, {134, 125}, {259, 19}} {
				request := binary.BigEndian.AppendUint16([]byte{17, 3}, want[0])
				request = binary.BigEndian.AppendUint16(request, want[1])
				f.wants(t, i, transport.Sent, withCRC(request...))
				f.wants(t, i, transport.Received, withCRC(d.answerRTU(17, request[1:], []byte{17})...))
			}
		})
	}
}

// wants takes the next frame and wants it to be this one.
func (f *follower) wants(t *testing.T, step int, d transport.Direction, data []byte) {
	t.Helper()
	if got := f.next(t); got.Direction != d || !bytes.Equal(got.data, data) {
		t.Fatalf("step %d: frame %+v, want % X", step+1, got, data)
	}
}
