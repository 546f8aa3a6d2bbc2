package physics

import "time"

// Resolution is the longest time that passes at once: a longer step is made of
// several.
const Resolution = time.Second

// Bank is packs in parallel, at an instant of simulated time.
type Bank struct {
	scenario *Scenario
	start    int64 // nanoseconds since the Unix epoch
	now      int64
	phase    int
	into     time.Duration // the phase
	packs    []*unit
	branches branches
	bar      float64 // V, in the last step
}

// NewBank makes the bank of a scenario as it is at the start, in nanoseconds
// since the Unix epoch. The scenario must not change while the bank is in use.
// The error says what of it cannot be simulated.
func NewBank(s *Scenario, start int64) (*Bank, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	b := &Bank{scenario: s, start: start, now: start, branches: make(branches, len(s.Packs))}
	for i := range s.Packs {
		b.packs = append(b.packs, newUnit(&s.Packs[i], s.Seed, i+1, b.ambient()))
		b.branches[i] = b.packs[i].branch()
	}
	b.bar, _ = b.branches.bar(0)
	return b, nil
}

// Packs is how many packs the bank has.
func (b *Bank) Packs() int { return len(b.packs) }

// Now is the simulated instant in nanoseconds since the Unix epoch.
func (b *Bank) Now() int64 { return b.now }

// Done tells whether every phase is over: the bank only rests from then on.
func (b *Bank) Done() bool { return b.phase >= len(b.scenario.Phases) }

// Step lets simulated time pass.
func (b *Bank) Step(d time.Duration) {
	for d > 0 {
		part := min(d, Resolution)
		if !b.Done() {
			part = min(part, b.scenario.Phases[b.phase].For-b.into)
		}
		b.advance(part)
		d -= part
	}
}

// advance lets a part of a phase pass, at one current for each pack.
func (b *Bank) advance(part time.Duration) {
	for i, u := range b.packs {
		b.branches[i] = u.branch()
	}
	b.bar = b.demand(part)
	b.now += int64(part)
	ambient, since := b.ambient(), time.Duration(b.now-b.start)
	for i, u := range b.packs {
		u.step(b.branches[i].current(b.bar), part.Seconds(), ambient, since)
	}
	b.follow(part)
}

// demand is the voltage of the bar in V that the present phase brings about. It
// is asked for its middle, which makes the charge of a ramp exact. Where the
// switches let nothing of it pass, the packs are left to themselves.
func (b *Bank) demand(part time.Duration) float64 {
	if !b.Done() {
		if volts, ok := b.scenario.Phases[b.phase].bar(b, b.into+part/2); ok {
			return volts
		}
	}
	volts, _ := b.branches.bar(0)
	return volts
}

// follow goes on in the phases.
func (b *Bank) follow(part time.Duration) {
	if b.Done() {
		return
	}
	if b.into += part; b.into < b.scenario.Phases[b.phase].For {
		return
	}
	b.into = 0
	if b.phase++; b.scenario.Repeat {
		b.phase %= len(b.scenario.Phases)
	}
}

const day = 24 * time.Hour

// ofDay is the time since midnight UTC.
func (b *Bank) ofDay(after time.Duration) time.Duration {
	return (time.Duration(b.now)%day + day + after) % day
}

// ambient is the temperature of the surroundings in degC.
func (b *Bank) ambient() float64 {
	const mildest = 10 * time.Hour // in the morning, as warm as on the mean
	since := (b.ofDay(0) + day - mildest) % day
	swing := arch(since, day/2)
	if since > day/2 {
		swing = -arch(since-day/2, day/2)
	}
	return b.scenario.Ambient + float64(b.scenario.Swing*swing)
}

// arch rises from 0 to 1 in the middle of a time and falls back to 0: a
// parabola, which stands for half a sine wave.
func arch(at, length time.Duration) float64 {
	if at <= 0 || at >= length {
		return 0
	}
	part := at.Seconds() / length.Seconds()
	return 4 * part * (1 - part)
}
