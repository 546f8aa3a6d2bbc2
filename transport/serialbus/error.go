package serialbus

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"syscall"

	"go.bug.st/serial"

	"packlink/transport"
)

// Kind names what is wrong with a line, in one word.
type Kind string

// The kinds of error.
const (
	KindEndpoint    Kind = "endpoint"    // the endpoint or the plan cannot be read
	KindMissing     Kind = "missing"     // there is no such port
	KindPermission  Kind = "permission"  // the user may not open the port
	KindBusy        Kind = "busy"        // another program has the port
	KindNotSerial   Kind = "not-serial"  // the path is no serial port, or it refuses the settings
	KindDescriptors Kind = "descriptors" // the process has too many files open
	KindUnreachable Kind = "unreachable" // no connection to the host
	KindCertificate Kind = "certificate" // a certificate or key cannot be used
	KindStuck       Kind = "stuck"       // the line takes no more bytes
	KindOther       Kind = "other"       // anything else; Cause says what
)

// Error says what is wrong with a line, where, and what would help.
type Error struct {
	Endpoint string // as the user wrote it
	Kind     Kind
	Detail   string // what is wrong
	Try      string // a command that would help; empty if none is known
	Cause    error  // what the system said; nil if this package found the fault
}

// Error is one sentence, without the command that would help.
func (e *Error) Error() string {
	if e.Cause == nil {
		return e.Endpoint + ": " + e.Detail
	}
	return e.Endpoint + ": " + e.Detail + ": " + e.Cause.Error()
}

// Unwrap is what the system said.
func (e *Error) Unwrap() error { return e.Cause }

func endpointError(e transport.Endpoint, format string, a ...any) *Error {
	return &Error{Endpoint: e.String(), Kind: KindEndpoint, Detail: fmt.Sprintf(format, a...)}
}

// openFault says why a serial port did not open.
func openFault(e transport.Endpoint, err error) *Error {
	fault := &Error{Endpoint: e.String(), Kind: KindOther, Detail: "cannot open the port", Cause: err}
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV), hasCode(err, serial.PortNotFound):
		fault.Kind, fault.Detail, fault.Cause = KindMissing, "there is no port "+e.Address, nil
		fault.Try = "packlink adapters"
	case errors.Is(err, fs.ErrPermission), hasCode(err, serial.PermissionDenied):
		fault.Kind, fault.Cause = KindPermission, nil
		fault.Detail, fault.Try = transport.PermissionAdvice(e.Address)
	case errors.Is(err, syscall.EBUSY), hasCode(err, serial.PortBusy):
		fault.Kind, fault.Detail, fault.Cause = KindBusy, "another program has the port", nil
		fault.Try = "lsof " + e.Address
	case hasCode(err, serial.InvalidSerialPort), errors.Is(err, syscall.EISDIR), errors.Is(err, syscall.ENOTTY):
		fault.Kind, fault.Detail = KindNotSerial, "this is not a serial port, or it refuses the speed or frame of "+e.Full()
		fault.Try = "packlink adapters"
	}
	return fault
}

func hasCode(err error, code serial.PortErrorCode) bool {
	var fault *serial.PortError
	return errors.As(err, &fault) && fault.Code() == code
}

// dialFault says why there is no connection.
func dialFault(e transport.Endpoint, err error) *Error {
	fault := &Error{Endpoint: e.String(), Kind: KindUnreachable, Detail: "no connection", Cause: err}
	if host, port, split := net.SplitHostPort(e.Address); split == nil {
		fault.Try = "nc -vz " + host + " " + port
	}
	return fault
}
