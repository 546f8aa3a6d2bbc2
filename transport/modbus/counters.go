package modbus

import "sync/atomic"

// DropReason is why the server ended a connection that the client held.
type DropReason uint8

// The reasons to drop a connection.
const (
	notDropped    DropReason = iota
	WrongProtocol            // a header with another protocol id than 0
	WrongLength              // a header with a length below 2 or above 254
	HalfFrame                // the rest of a request did not come within FrameTimeout
	Idle                     // no request within IdleTimeout
	Unread                   // a response was not taken within WriteTimeout
	Crowded                  // the longest silent of MaxConnections, when another came
	Broken                   // the connection failed, or the client tore it down
	Untrusted                // no encryption came about: a wrong certificate, or none, or not in time

	dropReasons
)

// String is the reason in words.
func (r DropReason) String() string {
	names := [dropReasons]string{"not dropped", "wrong protocol id", "wrong length", "half frame",
		"idle", "response not read", "too many connections", "broken", "untrusted"}
	if r >= dropReasons {
		return "unknown reason"
	}
	return names[r]
}

// exceptionCodes is the length of a table by exception code.
const exceptionCodes = int(GatewayTargetFailed) + 1

// Counters is what a server has done since it was made. Each number is exact;
// those of one reading can be a few requests apart.
type Counters struct {
	Accepted       uint64                 // connections taken
	Open           int64                  // connections now
	AcceptFailures uint64                 // connections that the system could not hand over
	Requests       uint64                 // requests answered, with those refused by an exception
	Exceptions     [exceptionCodes]uint64 // requests refused, by exception code
	Dropped        [dropReasons]uint64    // connections ended by the server, by reason
}

// tally is the counters while they are counted.
type tally struct {
	accepted, acceptFailures, requests atomic.Uint64
	open                               atomic.Int64
	exceptions                         [exceptionCodes]atomic.Uint64
	dropped                            [dropReasons]atomic.Uint64
}

// count counts one response.
func (t *tally) count(response []byte) {
	t.requests.Add(1)
	if response[0]&exceptionFlag != 0 {
		t.exceptions[response[1]].Add(1)
	}
}

// drop counts the end of a connection, unless the server did not end it.
func (t *tally) drop(reason DropReason) {
	if reason != notDropped {
		t.dropped[reason].Add(1)
	}
}

// Counters reads the counters. It can be called at any time.
func (s *Server) Counters() Counters {
	now := Counters{
		Accepted:       s.tally.accepted.Load(),
		Open:           s.tally.open.Load(),
		AcceptFailures: s.tally.acceptFailures.Load(),
		Requests:       s.tally.requests.Load(),
	}
	for code := range now.Exceptions {
		now.Exceptions[code] = s.tally.exceptions[code].Load()
	}
	for reason := range now.Dropped {
		now.Dropped[reason] = s.tally.dropped[reason].Load()
	}
	return now
}
