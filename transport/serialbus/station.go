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

func (s *station) open(dial func(context.Context) (link, error)) (err error) {
	s.line, err = openLine(context.Background(), s.place.endpoint.String(), dial, s.report)
	return err
}

// Close closes the line that Open opened, and ends the answering.
func (s *station) Close() error { return s.line.close() }

// serve takes turns with the open link until ctx ends. An error of a turn is a loss of
// the line; before the first turn after one, forget is called.
func (s *station) serve(ctx context.Context, forget func(), turn func(open link) error) {
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
