package canbus

import (
	"errors"
	"fmt"
	"runtime"
	"time"

	"go.bug.st/serial"

	"packlink/transport"
)

// How an adapter is set up: it may keep silent for so long, before it is taken
// to have nothing to say, and has so long to answer a command.
const (
	silence        = 60 * time.Millisecond
	longestChatter = time.Second
	answerTime     = time.Second
)

// connection is an open port with an adapter behind it.
type connection struct {
	port serial.Port
	pen  *pen
}

// openPort opens the serial port. The error is of type *Error.
func (a *adapter) openPort() (*connection, error) {
	port, err := serial.Open(a.path, &serial.Mode{BaudRate: a.baud})
	if err != nil {
		why, try := portTrouble(err, a.path)
		if runtime.GOOS != "linux" {
			try = ""
		}
		return nil, &Error{Endpoint: a.endpoint, Why: why, Try: try, Cause: err}
	}
	return &connection{port: port, pen: newPen(port)}, nil
}

// portTrouble says why a port cannot be opened, and what may help on Linux.
func portTrouble(err error, path string) (why, try string) {
	var trouble *serial.PortError
	if errors.As(err, &trouble) {
		switch trouble.Code() {
		case serial.PortBusy:
			return "another program has the port", "fuser -v " + path
		case serial.PermissionDenied:
			return transport.PermissionAdvice(path)
		case serial.InvalidSerialPort:
			return "this is no serial port", "ls -l /dev/serial/by-id"
		}
	}
	return "the port cannot be opened", "ls -l /dev/serial/by-id"
}

// setUp opens the adapter's channel. What it was doing before is stopped first;
// the answers to that say nothing, as a channel that was closed already refuses.
func (a *adapter) setUp(c *connection) error {
	if err := c.port.SetReadTimeout(silence); err != nil {
		return err
	}
	if err := c.pen.write([]byte("\rC\r")); err != nil {
		return err
	}
	if err := a.drain(c); err != nil {
		return err
	}
	if err := a.ask(c, rateCommand(a.bitRate), fmt.Sprintf("the bit rate %d", a.bitRate)); err != nil {
		return err
	}
	if a.flags {
		if err := a.ask(c, "F", ""); err != nil && !errors.Is(err, errRefused) {
			return err
		}
	}
	err := a.ask(c, a.openCommand(), map[bool]string{
		false: "to listen only, and listening never takes part on the bus",
		true:  "to open its channel",
	}[a.normal])
	if err != nil {
		return err
	}
	return c.port.SetReadTimeout(serial.NoTimeout)
}

// drain reads until the adapter has nothing more to say.
func (a *adapter) drain(c *connection) error {
	for begun := time.Now(); time.Since(begun) < longestChatter; {
		n, err := readPort(c.port, a.chunk[:])
		if err != nil {
			return err
		}
		if n == 0 {
			break
		}
	}
	a.lines = splitter{}
	return nil
}

var (
	errRefused = errors.New("the adapter refuses")
	errSilent  = errors.New("nothing answers there as a serial-line CAN adapter does")
)

// ask gives a command and waits until it is carried out. Other lines that come
// before the answer are dropped but for reports.
func (a *adapter) ask(c *connection, command, what string) error {
	if err := c.pen.write([]byte(command + "\r")); err != nil {
		return err
	}
	for begun := time.Now(); time.Since(begun) < answerTime; {
		n, err := readPort(c.port, a.chunk[:])
		if err != nil {
			return err
		}
		for i, b := range a.chunk[:n] {
			r, ended := a.lines.push(b)
			switch {
			case !ended:
			case r.kind == doneRecord || r.kind == reportRecord && command == "F":
				a.rest = a.chunk[i+1 : n]
				return nil
			case r.kind == refusedRecord:
				return fmt.Errorf("%w %s", errRefused, what)
			}
		}
	}
	return errSilent
}

// readPort reads from a port. The library panics on descriptors that select(2)
// cannot take, 1024 and above.
func readPort(port serial.Port, b []byte) (n int, err error) {
	defer func() {
		if trouble := recover(); trouble != nil {
			n, err = 0, fmt.Errorf("the port cannot be read: too many files are open: %v", trouble)
		}
	}()
	return port.Read(b)
}
