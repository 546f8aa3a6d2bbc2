// Package serialbus connects to packs on a serial line: RS-485 or RS-232 behind
// an adapter, a serial device server on the network, or a Modbus/TCP gateway.
//
// There are five ways to be on a line, each with a constructor of its own:
//
//   - [Listen] hears what goes by. Its type has no way to transmit.
//   - [TransmitPolls] asks for registers and hands over questions and answers.
//   - [OpenForSending] puts given bytes on the line.
//   - [NewAnswerer] makes one that answers the requests of a master.
//   - [NewReplier] makes one that answers questions of another protocol.
//
// This package delivers bytes. To find frames in a stream that is only listened
// to is the work of package decode.
//
// # What opening does
//
// Opening a serial port sets it to raw mode with the speed and frame of the
// endpoint, without flow control, and asks the system to keep other programs out.
// The system itself raises the lines DTR and RTS as it opens a port, and drops
// them when the last program closes it; this package never touches them. An
// adapter that takes RTS as its transmitter's switch drives the line as long as
// RTS is up, so it is not fit to listen with. Between the system's opening and the
// raw mode a few microseconds pass in which a system that was never told otherwise
// echoes a byte that arrives just then; no program can prevent that.
package serialbus
