package capture

import (
	"fmt"
	"math"

	"packlink/transport"
)

// frameFlags are the flags that a capture can give back.
const frameFlags = transport.Extended | transport.Remote | transport.BusError | transport.FD | transport.Damaged | transport.Lost

// refusal says why a frame cannot be written. It is empty if it can.
func (w *Writer) refusal(f *transport.Frame) string {
	switch {
	case f.Channel < 0 || f.Channel >= len(w.buses):
		return fmt.Sprintf("the capture has the channels 0 to %d", len(w.buses)-1)
	case f.Medium != w.buses[f.Channel].Medium:
		return fmt.Sprintf("a frame of a %s bus on a %s bus", f.Medium, w.buses[f.Channel].Medium)
	case f.Time < 0:
		return fmt.Sprintf("its time is %d ns before 1970", -f.Time)
	case f.Direction > transport.Sent || f.Flags&^frameFlags != 0:
		return fmt.Sprintf("its direction %d or its flags %#x are unknown", f.Direction, f.Flags)
	case f.Medium == transport.Serial:
		return serialRefusal(f)
	case f.Flags&transport.Remote != 0 && len(f.Data) > 0:
		return fmt.Sprintf("a remote request with %d bytes of data, expected none", len(f.Data))
	case isCANFrame(f.ID, f.Flags, len(f.Data)):
		return ""
	}
	return canFault(f.ID, f.Flags, len(f.Data))
}

func serialRefusal(f *transport.Frame) string {
	switch {
	case f.ID != 0 || f.Flags&^(transport.Damaged|transport.Lost) != 0:
		return "a serial frame with an id or a flag of CAN"
	case len(f.Data) > MaxSerialData:
		return fmt.Sprintf("%d bytes of serial data, expected at most %d", len(f.Data), MaxSerialData)
	case len(f.Data) == 0 && f.Flags == 0:
		return "a serial frame without a byte"
	case f.Time/1e9 > math.MaxUint32:
		return "its time is after 2106"
	}
	return ""
}
