package serialbus

import (
	"context"
	"io"
	"sync"
	"time"
)

// The waits before a lost line is opened again.
const (
	firstWait = 100 * time.Millisecond
	lastWait  = 5 * time.Second
)

// line keeps a link open: it opens a lost one again by the same name, and
// reports the loss and the return once each.
type line struct {
	name   string
	dial   func(context.Context) (link, error)
	report func(Event)
	ctx    context.Context
	cancel context.CancelFunc
	opened time.Time
	wait   time.Duration // before the next opening
	quiet  bool          // the link was given up on purpose, which is no news

	mu      sync.Mutex
	current link // nil while the line is lost
	closed  bool
}

// openLine opens a line for the first time. The end of ctx closes it.
func openLine(ctx context.Context, name string, dial func(context.Context) (link, error), report func(Event)) (*line, error) {
	first, err := dial(ctx)
	if err != nil {
		return nil, err
	}
	return newLine(ctx, name, dial, report, first), nil
}

func newLine(ctx context.Context, name string, dial func(context.Context) (link, error), report func(Event), first link) *line {
	if report == nil {
		report = func(Event) {}
	}
	l := &line{name: name, dial: dial, report: report, opened: time.Now(), wait: firstWait, current: first}
	l.ctx, l.cancel = context.WithCancel(ctx)
	context.AfterFunc(l.ctx, func() { l.shut() })
	return l
}

// link is the open link. While the line is lost it waits for its return. The
// error is io.EOF when the line is closed, and there is no other. Fresh says
// that the link is not the one of the last call.
func (l *line) link() (open link, fresh bool, err error) {
	for {
		l.mu.Lock()
		open, closed := l.current, l.closed
		l.mu.Unlock()
		if closed {
			return nil, false, io.EOF
		}
		if open != nil {
			return open, fresh, nil
		}
		l.reopen()
		fresh = true
	}
}

// reopen waits and tries once.
func (l *line) reopen() {
	if !l.quiet && !sleep(l.ctx, l.wait) {
		return
	}
	again, err := l.dial(l.ctx)
	if err != nil {
		if l.quiet {
			l.quiet = false
			l.sayGone(err)
		}
		l.wait = min(2*l.wait, lastWait)
		return
	}
	if !l.adopt(again) {
		return
	}
	l.opened = time.Now()
	if !l.quiet {
		l.say(EventBack, "the line is back")
	}
	l.quiet = false
}

// adopt makes a new link the current one, unless the line was closed meanwhile.
func (l *line) adopt(again link) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		again.close()
		return false
	}
	l.current = again
	return true
}

// lost gives the link up because of an error. A link that did not last makes
// the next wait longer, so that one which fails at once is not opened in a loop.
func (l *line) lost(err error) {
	if !l.drop() {
		return
	}
	if time.Since(l.opened) > lastWait {
		l.wait = firstWait
	} else {
		l.wait = min(2*l.wait, lastWait)
	}
	l.sayGone(err)
}

func (l *line) sayGone(err error) {
	l.say(EventGone, "the line is lost: "+err.Error()+"; it is opened again as soon as that works")
}

// renew gives the link up without a reason that anybody should hear of.
func (l *line) renew() { l.quiet = l.drop() }

// drop closes the link. It is false when the whole line is closed.
func (l *line) drop() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return false
	}
	l.current.close()
	l.current = nil
	return true
}

func (l *line) say(kind EventKind, detail string) {
	l.report(Event{Kind: kind, Endpoint: l.name, Detail: detail})
}

// shut closes the line for good.
func (l *line) shut() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return nil
	}
	l.closed = true
	if l.current == nil {
		return nil
	}
	return l.current.close()
}

// close closes the line and ends whatever waits for it.
func (l *line) close() error {
	defer l.cancel()
	return l.shut()
}

// sleep waits; it is false when ctx ended first.
func sleep(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
