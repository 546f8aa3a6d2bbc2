package serialbus

import "context"

// station is where somebody answers on a line.
type station struct {
	place  *place
	report func(Event) // nil if nobody wants to know
	line   *line       // nil before it is opened
}

// Open opens the line to answer on; nothing is sent yet. The error is an [*Error].
func (s *station) Open() error { return s.open(s.place.open) }

func (s *station) open(dial func(context.Context) (link, error)) error {
	opened, err := openLine(context.Background(), s.place.endpoint.String(), dial, s.report)
	if err == nil {
		s.line = opened
	}
	return err
}

// Close closes the line that Open opened, and ends the answering. Where nothing was
// opened it does nothing.
func (s *station) Close() error {
	if s.line == nil {
		return nil
	}
	return s.line.close()
}

// serve takes turns with the open link until ctx ends; none where nothing was opened. An error of a turn is a loss of
// the line; before the first turn after one, forget is called.
func (s *station) serve(ctx context.Context, forget func(), turn func(open link) error) {
	if s.line == nil {
		return
	}
	defer context.AfterFunc(ctx, func() { s.line.close() })()
	defer s.line.close()
	for {
		open, fresh, err := s.line.link()
		if err != nil {
			return
		}
		if fresh {
			forget()
		}
		if err := turn(open); err != nil {
			s.line.lost(err)
		}
	}
}
