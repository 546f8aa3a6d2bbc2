// Package capture reads, writes and plays recorded buses.
//
// A recording is a pcapng file (IETF draft-ietf-opsawg-pcapng) with CAN frames
// (link type 227) and serial bytes (link type 250), or the text log of the
// can-utils. [Open] tells them apart by their content, never by their name.
//
// What a [transport.Frame] has no place for is not kept: the bit-rate-switch
// and error-state bits of CAN FD, a raw DLC above 8, the length that a remote
// request asks for, and the control lines of a serial port.
package capture

// MaxBlock is the largest pcapng block, in bytes, that is read into memory:
// packets of a link type that is read, and interface descriptions. A larger one
// is an error. Blocks that are only skipped may have any size.
const MaxBlock = 256 << 10

// MaxInterfaces is how many interfaces a capture may have, and a section of it.
const MaxInterfaces = 256

// MaxName is the longest interface name, in bytes.
const MaxName = 1024

// LinkType says what the packets of an interface hold, by the numbers of the
// registry in draft-ietf-opsawg-pcaplinktype.
type LinkType uint16

// The link types whose packets become frames.
const (
	LinkCAN    LinkType = 227 // LINKTYPE_CAN_SOCKETCAN
	LinkSerial LinkType = 250 // LINKTYPE_RTAC_SERIAL
)

// Interface is one bus of a capture: the n-th one is the [transport.Frame]
// channel n. An interface of a later section with the same name and link type
// is the same bus again.
type Interface struct {
	Name       string     // as recorded; empty if it has none
	LinkType   LinkType   // what its packets hold
	Resolution Resolution // of its time stamps, as last declared
	Frames     int64      // frames handed over so far
	Skipped    int64      // packets so far that gave no frame: a link type that is not read, no bytes, or an error
}
