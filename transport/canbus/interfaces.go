package canbus

import "errors"

// Interface is a CAN interface of this machine.
type Interface struct {
	Name            string
	Kind            string // of its driver's rtnetlink family: "can", "vcan", "slcan", ...; empty if the kernel does not say
	Index           int    // the kernel's number for it
	RxDropped       uint64 // frames that came in and that the kernel dropped before any program could have them
	Up              bool
	FD              bool  // it can carry CAN FD frames
	ListenOnly      bool  // its controller does not even acknowledge
	State           State // StateUnknown where the interface has no controller
	BitRate         int   // bit/s; 0 if not known
	DataBitRate     int   // bit/s of the data phase of CAN FD; 0 if not known
	Counted         bool  // the two counters below are known
	TxErrors        uint16
	RxErrors        uint16
	Statistics      bool   // the counts below are known
	BusErrors       uint32 // errors on the bus since the interface was made
	BusOffs         uint32 // how often the controller went off the bus
	ArbitrationLost uint32 // how often a frame had to wait for another
	Restarts        uint32 // how often the controller was started again
}

// errNoInterface says that this machine has no interface of a name.
var errNoInterface = errors.New("no such interface")
