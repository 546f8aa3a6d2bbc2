package serialbus

import (
	"bytes"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"packlink/transport"
)

// misfortune is something that goes wrong with the first exchange, and what must
// come of it. The peer answers every other request soundly.
type misfortune struct {
	name     string
	does     reply             // with the first request
	outcome  Outcome           // of the first request
	besides  map[Outcome]int64 // counted besides for unit 1
	accepted bool              // the first exchange gives an answer
	check    func(*testing.T, Counts)
}

// after puts bytes on the line.
func after(d time.Duration, make func(frame []byte) []byte) reply {
	return func(b *fakeBus, _ int, frame []byte) { b.link.put(d, make(frame)) }
}

func both(a, b reply) reply {
	return func(bus *fakeBus, n int, frame []byte) { a(bus, n, frame); b(bus, n, frame) }
}

func flip(frame []byte, at int) []byte {
	frame = slices.Clone(frame)
	frame[at] ^= 0x10
	return frame
}

const soon = 20 * time.Millisecond

// misfortunes holds the eight communication errors (IEC 61784-3, section 5.3, from
// memory: corruption, unintended repetition, incorrect sequence, loss, unacceptable
// delay, insertion, masquerade, addressing), and what else goes wrong on a line.
var misfortunes = []misfortune{
	{name: "corruption of a value", outcome: BadChecksum,
		does: after(soon, func(f []byte) []byte { return flip(answerTo(f), 5) })},
	{name: "corruption of the checksum", outcome: BadChecksum,
		does: after(soon, func(f []byte) []byte { return flip(answerTo(f), 24) })},
	{name: "corruption of the address", outcome: Unclear,
		does: after(soon, func(f []byte) []byte { return flip(answerTo(f), 0) })},
	{name: "corruption of the function", outcome: Unclear,
		does: after(soon, func(f []byte) []byte { return flip(answerTo(f), 1) })},
	{name: "corruption of the length", outcome: Unclear,
		does: after(soon, func(f []byte) []byte { return flip(answerTo(f), 2) })},
	{name: "corruption of an exception", outcome: BadChecksum,
		does: after(soon, func(f []byte) []byte { return flip(refusal(f, 4), 2) })},
	{name: "repetition", outcome: Answered, accepted: true, besides: map[Outcome]int64{Double: 2},
		does: after(soon, func(f []byte) []byte { return bytes.Repeat(answerTo(f), 3) })},
	{name: "repetition some time later", outcome: Answered, accepted: true, besides: map[Outcome]int64{Double: 1},
		does: both(after(soon, answerTo), after(10*soon, answerTo))},
	{name: "wrong order: another block's answer", outcome: WrongAnswer,
		does: after(soon, func(f []byte) []byte { return answerTo(withCRC(1, 3, 0, 0, 0, 4)) })},
	{name: "loss of all", outcome: NoAnswer, does: func(*fakeBus, int, []byte) {}},
	{name: "loss of the end", outcome: Half,
		does: after(soon, func(f []byte) []byte { return answerTo(f)[:11] })},
	{name: "loss of all but a byte", outcome: Half,
		does: after(soon, func(f []byte) []byte { return answerTo(f)[:1] })},
	{name: "loss of the beginning", outcome: Unclear,
		does: after(soon, func(f []byte) []byte { return answerTo(f)[3:] })},
	{name: "loss of a byte in the middle", outcome: Half,
		does: after(soon, func(f []byte) []byte { return slices.Delete(answerTo(f), 8, 9) })},
	{name: "delay beyond the time-out", outcome: NoAnswer, besides: map[Outcome]int64{Late: 1},
		does: after(1070*time.Millisecond, answerTo)},
	{name: "delay in the middle, as an adapter holds bytes back", outcome: Answered, accepted: true,
		does: both(after(soon, func(f []byte) []byte { return answerTo(f)[:7] }), after(4*soon, func(f []byte) []byte { return answerTo(f)[7:] }))},
	{name: "insertion before the answer", outcome: Answered, accepted: true, check: wantNoise(3),
		does: after(soon, func(f []byte) []byte { return append([]byte{0, 1, 0xFF}, answerTo(f)...) })},
	{name: "insertion of what looks like the beginning", outcome: Answered, accepted: true,
		does: after(soon, func(f []byte) []byte { return append([]byte{1, 3, 20}, answerTo(f)...) })},
	{name: "insertion of a byte in the middle", outcome: BadChecksum,
		does: after(soon, func(f []byte) []byte { return slices.Insert(answerTo(f), 8, 0x55) })},
	{name: "insertion of noise alone", outcome: Unclear, check: wantNoise(5),
		does: after(soon, func(f []byte) []byte { return []byte{9, 8, 7, 6, 5} })},
	{name: "masquerade: an answer to somebody else's request", outcome: WrongAnswer, check: wantStrangers(1),
		does: after(soon, func(f []byte) []byte { return append(withCRC(1, 3, 0, 50, 0, 10), answerTo(f)...) })},
	{name: "masquerade by another function", outcome: WrongAnswer,
		does: after(soon, func(f []byte) []byte { f[1] = 4; return answerTo(f) })},
	{name: "wrong address", outcome: WrongUnit,
		does: after(soon, func(f []byte) []byte { f[0] = 9; return answerTo(f) })},
	{name: "wrong address, and then the right one", outcome: Answered, accepted: true,
		does: after(soon, func(f []byte) []byte {
			right := answerTo(f)
			f[0] = 9
			return append(answerTo(f), right...)
		})},
	{name: "echo of the request", outcome: Answered, accepted: true, check: wantEchoes(1),
		does: after(soon, func(f []byte) []byte { return append(slices.Clone(f), answerTo(f)...) })},
	{name: "echo alone", outcome: NoAnswer, check: wantEchoes(1),
		does: after(soon, func(f []byte) []byte { return f })},
	{name: "more noise than can be kept", outcome: Unclear, check: wantNoise(5000),
		does: after(soon, func(f []byte) []byte { return make([]byte, 5000) })},
	{name: "an answer behind more noise than can be kept", outcome: Answered, accepted: true, check: wantNoise(5000),
		does: after(soon, func(f []byte) []byte { return append(make([]byte, 5000), answerTo(f)...) })},
	{name: "exception, server failure", outcome: Refused, accepted: true,
		does: after(soon, func(f []byte) []byte { return refusal(f, 4) })},
	{name: "exception, busy", outcome: Refused, accepted: true,
		does: after(soon, func(f []byte) []byte { return refusal(f, 6) })},
}

func wantNoise(n int64) func(*testing.T, Counts) {
	return func(t *testing.T, c Counts) {
		if c.Noise != n {
			t.Errorf("%d bytes of noise, want %d", c.Noise, n)
		}
	}
}

func wantStrangers(n int64) func(*testing.T, Counts) {
	return func(t *testing.T, c Counts) {
		if c.Strangers != n {
			t.Errorf("%d messages of strangers, want %d", c.Strangers, n)
		}
	}
}

func wantEchoes(n int64) func(*testing.T, Counts) {
	return func(t *testing.T, c Counts) {
		if c.Echoes != n {
			t.Errorf("%d echoes, want %d", c.Echoes, n)
		}
	}
}

func TestMisfortunes(t *testing.T) {
	for _, m := range misfortunes {
		t.Run(m.name, func(t *testing.T) { bubble(t, m.run) })
	}
}

// run has the misfortune and one sound exchange after it.
func (m *misfortune) run(t *testing.T) {
	bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, n int, frame []byte) {
		if n > 0 {
			b.link.put(soon, answerTo(frame))
			return
		}
		m.does(b, n, frame)
	})
	time.Sleep(1950 * time.Millisecond)
	synctest.Wait()
	all := bus.received()
	counts := bus.poller.Counts()
	unit := counts.Units[0]
	unit.Outcomes[Answered] -= unit.Asked - 1 // the exchanges after the first
	var want [outcomes]int64
	want[m.outcome] = 1
	for o, n := range m.besides {
		want[o] += n
	}
	if unit.Outcomes != want || unit.Asked < 2 {
		t.Errorf("of %d requests the first ended so: %v, want %v", unit.Asked, unit.Outcomes, want)
	}
	if m.check != nil {
		m.check(t, counts)
	}
	answers := accepted(all)
	if got := len(answers) == int(unit.Asked); got != m.accepted {
		t.Errorf("%d answers to %d requests: the first exchange gave one: %v, want %v", len(answers), unit.Asked, got, m.accepted)
	}
	if last := all[len(all)-1]; last.Direction != transport.Received || !bytes.Equal(last.data, answerTo(withCRC(1, 3, 0, 0, 0, 10))) {
		t.Errorf("the exchange after it gave % X", last.data)
	}
}
