package serialbus

import (
	"time"

	"packlink/transport"
)

// step does the next thing: it waits, asks, or listens for the answer.
func (a *Asker) step() error {
	open, back, err := a.line.link()
	if err != nil {
		return err
	}
	if back {
		a.schedule(time.Now())
		a.turn, a.ready, a.lost, a.mute = -1, time.Now(), true, 0
		a.plan.Ear.Lost()
	}
	if a.asking {
		a.await(open)
	} else {
		a.idle(open)
	}
	return nil
}

// idle waits until it is time to ask, and listens meanwhile.
func (a *Asker) idle(open link) {
	turn, _, piece, wake := choose(a.units, a.turn, time.Now())
	start := a.how.start(piece != nil, wake, a.busy, a.ready)
	n, _, err := a.listen(open, start)
	switch {
	case err != nil:
		a.interrupt(err)
	case n == 0 && piece != nil && !time.Now().Before(start):
		a.ask(open, turn, piece)
	}
}

// listen waits for bytes and hands them over. It tells whether the answer to the
// newest question ends in them.
func (a *Asker) listen(open link, until time.Time) (n int, answered bool, err error) {
	n, err = open.read(a.buffer[:], until)
	if n == 0 || err != nil {
		return 0, false, err
	}
	a.heardAt = time.Now()
	a.busy, a.mute = a.heardAt, 0
	a.hand(a.heardAt, transport.Received, a.buffer[:n:n])
	return n, a.plan.Ear.Heard(a.buffer[:n]), nil
}

func (a *Asker) hand(at time.Time, direction transport.Direction, data []byte) {
	a.next = transport.Frame{Time: at.UnixNano(), Medium: transport.Serial, Direction: direction, Data: data}
	a.full = true
	if a.lost {
		a.next.Flags, a.lost = transport.Lost, false
	}
}

// ask sends a question. The time-out counts from when it has left the wire.
func (a *Asker) ask(open link, turn int, p *piece) {
	now := time.Now()
	p.advance(now)
	a.turn, a.piece, a.asking = turn, p, true
	a.sent, a.echoed, a.came = a.plan.Questions[p.question].Sent, 0, 0
	a.plan.Ear.Asked(p.question)
	if err := open.write(a.sent, writeLimit); err != nil {
		a.interrupt(err)
		return
	}
	a.busy = now.Add(a.place.transmission(len(a.sent)))
	a.firstBy = a.busy.Add(a.how.timeout)
	a.hand(now, transport.Sent, a.sent)
}

// await listens for the answer. Once it has begun it may take its time, but for
// silence longer than an adapter keeps bytes back.
func (a *Asker) await(open link) {
	until := a.firstBy
	if a.came > a.echoed {
		until = a.heardAt.Add(holdBack)
	}
	n, answered, err := a.listen(open, until)
	switch {
	case err != nil:
		a.interrupt(err)
	case answered:
		a.conclude(Answered)
	case n > 0 && time.Now().After(a.firstBy.Add(a.place.transmission(runLength))):
		a.conclude(Unclear)
	case n > 0:
		a.countEcho(a.buffer[:n])
	case a.came > a.echoed:
		a.conclude(Unclear)
	default:
		a.conclude(NoAnswer)
	}
}

// countEcho counts bytes of which the first may be the question itself.
func (a *Asker) countEcho(data []byte) {
	for _, b := range data {
		if a.echoed == a.came && a.echoed < len(a.sent) && a.sent[a.echoed] == b {
			a.echoed++
		}
		a.came++
	}
}

// conclude ends an exchange.
func (a *Asker) conclude(outcome Outcome) {
	u, now := a.units[a.turn], time.Now()
	a.asking, a.ready = false, now
	switch outcome {
	case Answered:
		a.piece.tries, u.misses, u.rest, u.heard = 0, 0, time.Time{}, now
		if a.piece.misses > 0 {
			a.piece.misses = 0
			a.say(EventGiven, "answers the question for %q again", a.asked())
		}
		if u.silent {
			u.silent = false
			a.say(EventAnswering, "answers again")
		}
	case NoAnswer:
		a.absent(u, now)
		if a.mute++; a.mute >= muteLimit && a.place.endpoint.Scheme != "serial" {
			a.mute = 0
			a.line.renew()
		}
	default:
		a.repeat(u, now)
	}
}

// asked is the name of the present question.
func (a *Asker) asked() string { return a.plan.Questions[a.piece.question].Name }

// absent follows silence: a few repetitions, and then the pack is asked ever more
// rarely until it answers.
func (a *Asker) absent(u *unit, now time.Time) {
	if !u.silent && a.repeat(u, now) {
		return
	}
	if !u.silent && now.Sub(u.heard) < lastAbsent {
		a.unanswered(now)
		return
	}
	if !u.silent {
		u.silent = true
		a.say(EventSilent, "does not answer; it is asked again ever more rarely, at last every %v", lastAbsent)
	}
	u.rest = now.Add(growing(firstAbsent, u.misses, lastAbsent))
	u.misses++
}

// unanswered makes a question wait that a pack does not answer which answers others: it
// alone is asked ever more rarely.
func (a *Asker) unanswered(now time.Time) {
	if a.piece.misses == 0 {
		a.say(EventWithheld, "does not answer the question for %q, though it answers others; this one is asked again ever more rarely", a.asked())
	}
	a.piece.due = later(a.piece.due, now.Add(growing(firstAbsent, a.piece.misses, lastAbsent)))
	a.piece.misses++
}

// repeat makes the question be asked again soon. It is false when that was done
// often enough; then it waits for its next turn.
func (a *Asker) repeat(u *unit, now time.Time) bool {
	if a.piece.tries >= a.how.retries {
		a.piece.tries = 0
		return false
	}
	u.rest = now.Add(growing(firstRetry, a.piece.tries, lastRetry))
	a.piece.due = now
	a.piece.tries++
	return true
}

// interrupt notes that the line is lost.
func (a *Asker) interrupt(err error) {
	a.asking = false
	a.line.lost(err)
}
