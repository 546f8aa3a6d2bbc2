package canbus

import (
	"encoding/binary"
	"fmt"
	"syscall"

	"golang.org/x/sys/unix"
)

// Interfaces lists the CAN interfaces of this machine, in the kernel's order.
// A machine without CAN has none, which is no error.
func Interfaces() ([]Interface, error) {
	dump, err := syscall.NetlinkRIB(unix.RTM_GETLINK, unix.AF_UNSPEC)
	if err != nil {
		return nil, fmt.Errorf("list network interfaces: %w", err)
	}
	messages, err := syscall.ParseNetlinkMessage(dump)
	if err != nil {
		return nil, fmt.Errorf("list network interfaces: %w", err)
	}
	var all []Interface
	for i := range messages {
		if found, ok := parseLink(messages[i].Header.Type, messages[i].Data); ok {
			all = append(all, found)
		}
	}
	return all, nil
}

// findInterface gives the CAN interface of a name. The error is errNoInterface
// if there is none.
func findInterface(name string) (Interface, error) {
	all, err := Interfaces()
	if err != nil {
		return Interface{}, err
	}
	for _, i := range all {
		if i.Name == name {
			return i, nil
		}
	}
	return Interface{}, errNoInterface
}

// parseLink reads the message about one interface: struct ifinfomsg and
// attributes (linux/rtnetlink.h). It is false for what is no CAN interface.
func parseLink(kind uint16, b []byte) (i Interface, ok bool) {
	if kind != unix.RTM_NEWLINK || len(b) < unix.SizeofIfInfomsg || binary.NativeEndian.Uint16(b[2:]) != unix.ARPHRD_CAN {
		return Interface{}, false
	}
	i.Index = int(int32(binary.NativeEndian.Uint32(b[4:])))
	i.Up = binary.NativeEndian.Uint32(b[8:])&unix.IFF_UP != 0
	attributes(b[unix.SizeofIfInfomsg:], func(kind uint16, value []byte) {
		switch kind {
		case unix.IFLA_IFNAME:
			i.Name = text(value)
		case unix.IFLA_MTU:
			i.FD = len(value) >= 4 && binary.NativeEndian.Uint32(value) >= fdSize
		case unix.IFLA_STATS64:
			i.RxDropped = rxDropped(value)
		case unix.IFLA_LINKINFO:
			attributes(value, i.readInfo)
		}
	})
	return i, true
}

// rxDropped reads the seventh number of struct rtnl_link_stats64.
func rxDropped(value []byte) uint64 {
	const at = 6 * 8
	if len(value) < at+8 {
		return 0
	}
	return binary.NativeEndian.Uint64(value[at:])
}

// attributes visits the attributes in b: a length, a kind and a value, padded to
// four bytes. A length that cannot be right ends the visit.
func attributes(b []byte, visit func(kind uint16, value []byte)) {
	for len(b) >= unix.SizeofRtAttr {
		size := int(binary.NativeEndian.Uint16(b))
		if size < unix.SizeofRtAttr || size > len(b) {
			return
		}
		visit(binary.NativeEndian.Uint16(b[2:])&^uint16(unix.NLA_F_NESTED), b[unix.SizeofRtAttr:size])
		b = b[min(len(b), (size+3)&^3):]
	}
}

// text is a string that a zero byte may end.
func text(b []byte) string { return unix.ByteSliceToString(b) }

// What the kernel says about a CAN interface (linux/can/netlink.h).
const (
	canBitTiming     = 1 // struct can_bittiming, which begins with the bit rate
	canState         = 4
	canControlMode   = 5 // struct can_ctrlmode: a mask, and the flags
	canErrorCounters = 8 // struct can_berr_counter: transmit, receive
	canDataBitTiming = 9

	controlListenOnly = 0x02
)

// canStates are the states in the numbering of the kernel (enum can_state).
var canStates = [...]State{Active, Warning, Passive, BusOff, Stopped, Sleeping}

func (i *Interface) readInfo(kind uint16, value []byte) {
	switch kind {
	case unix.IFLA_INFO_KIND:
		i.Kind = text(value)
	case unix.IFLA_INFO_DATA:
		attributes(value, i.readCAN)
	case unix.IFLA_INFO_XSTATS:
		i.readStatistics(value)
	}
}

func (i *Interface) readCAN(kind uint16, value []byte) {
	if len(value) < 4 {
		return
	}
	number := binary.NativeEndian.Uint32(value)
	switch kind {
	case canBitTiming:
		i.BitRate = int(number)
	case canDataBitTiming:
		i.DataBitRate = int(number)
	case canState:
		if number < uint32(len(canStates)) {
			i.State = canStates[number]
		}
	case canControlMode:
		i.ListenOnly = len(value) >= 8 && binary.NativeEndian.Uint32(value[4:])&controlListenOnly != 0
	case canErrorCounters:
		i.Counted = true
		i.TxErrors, i.RxErrors = binary.NativeEndian.Uint16(value), binary.NativeEndian.Uint16(value[2:])
	}
}

// readStatistics reads struct can_device_stats: bus errors, warnings, passives,
// bus-offs, arbitrations lost, restarts.
func (i *Interface) readStatistics(value []byte) {
	if len(value) < 24 {
		return
	}
	i.Statistics = true
	i.BusErrors = binary.NativeEndian.Uint32(value)
	i.BusOffs = binary.NativeEndian.Uint32(value[12:])
	i.ArbitrationLost = binary.NativeEndian.Uint32(value[16:])
	i.Restarts = binary.NativeEndian.Uint32(value[20:])
}
