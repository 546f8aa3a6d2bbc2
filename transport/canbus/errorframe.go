package canbus

import (
	"time"

	"go.einride.tech/can/pkg/socketcan"

	"packlink/transport"
)

// errorCounters is the class of error frames whose data carries the two error
// counters (linux/can/error.h, CAN_ERR_CNT).
const errorCounters socketcan.ErrorClass = 0x200

// Where the detail of an error stands in the data of its frame
// (linux/can/error.h).
const (
	detailController = 1
	detailProtocol   = 2
	detailLocation   = 3
	detailTxCounter  = 6
	detailRxCounter  = 7
	detailLength     = 8
)

// The bits of the controller's detail.
const (
	overflows = socketcan.ControllerErrorRxBufferOverflow | socketcan.ControllerErrorTxBufferOverflow
	warnings  = socketcan.ControllerErrorRxWarning | socketcan.ControllerErrorTxWarning
	passives  = socketcan.ControllerErrorRxPassive | socketcan.ControllerErrorTxPassive
)

// fold takes in what an error frame says. A detail that the frame is too short
// for is not known.
func (h *Health) fold(f *transport.Frame) {
	class := socketcan.ErrorClass(f.ID)
	h.ErrorReports++
	h.LastReport = time.Unix(0, f.Time)
	if class&socketcan.ErrorClassController != 0 && len(f.Data) > detailController {
		h.foldController(socketcan.ControllerError(f.Data[detailController]))
	}
	if class&socketcan.ErrorClassRestarted != 0 {
		h.State = Active
	}
	if class&socketcan.ErrorClassBusOff != 0 {
		h.State = BusOff
	}
	if class&socketcan.ErrorClassNoAck != 0 {
		h.NoAck = true
	}
	if class&errorCounters != 0 && len(f.Data) > detailRxCounter {
		h.Counted = true
		h.TxErrors, h.RxErrors = uint16(f.Data[detailTxCounter]), uint16(f.Data[detailRxCounter])
	}
}

func (h *Health) foldController(detail socketcan.ControllerError) {
	if detail&overflows != 0 {
		h.Overruns++
	}
	switch {
	case detail&passives != 0:
		h.State = Passive
	case detail&warnings != 0:
		h.State = Warning
	case detail&socketcan.ControllerErrorActive != 0:
		h.State = Active
	}
}
