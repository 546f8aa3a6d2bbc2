package canbus

import "packlink/transport"

// ear is what every listener keeps between one frame and the next. It belongs
// to the goroutine that is in Receive, but for its monitor.
type ear struct {
	monitor
	noAck bool // the last report said that nobody acknowledges
	lost  bool // frames were lost before the next one
}

// accept marks a frame that follows a loss, and folds it into the health.
func (e *ear) accept(f *transport.Frame) {
	if e.lost {
		f.Flags |= transport.Lost
		e.lost = false
	}
	switch {
	case f.Flags&transport.BusError != 0:
		e.report(f)
		e.noAck = e.get().NoAck
	case e.noAck:
		e.heard()
		e.noAck = false
	}
}
