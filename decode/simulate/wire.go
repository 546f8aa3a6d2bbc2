package simulate

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

	"packlink/mapping"
	"packlink/transport"
)

// Wire is what goes wrong on the wire. The zero value is a sound one.
type Wire struct {
	Lose   float64       // part of the packs' frames that never arrive, 0 to 1
	Spoil  float64       // part of the packs' answers that arrive with a wrong bit, 0 to 1; on serial lines only
	Freeze bool          // rolling counters stand still
	Delay  time.Duration // answers come so much later
}

// ParseWire reads what goes wrong, as in "lose=5%,spoil=1%,freeze,delay=300ms".
func ParseWire(text string) (w Wire, err error) {
	if text == "" {
		return w, nil
	}
	for _, part := range strings.Split(text, ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		switch {
		case name == "lose":
			w.Lose, err = percent(value)
		case name == "spoil":
			w.Spoil, err = percent(value)
		case name == "delay":
			w.Delay, err = time.ParseDuration(value)
			if err == nil && w.Delay < 0 {
				err = fmt.Errorf("%s is negative", value)
			}
		case strings.TrimSpace(part) == "freeze":
			w.Freeze = true
		default:
			return w, fmt.Errorf("%q is none of lose=5%%, spoil=1%%, freeze and delay=300ms", part)
		}
		if err != nil {
			return w, fmt.Errorf("%s: %w", part, err)
		}
	}
	return w, nil
}

// Check says what of the faults a mapping's bus does not have.
func (w Wire) Check(c *mapping.Compiled) error {
	if w.Spoil > 0 && c.Bus.CAN != nil {
		return errors.New("a CAN controller drops frames with a wrong checksum, so nobody sees them: lose frames instead")
	}
	return nil
}

func percent(text string) (float64, error) {
	number, is := strings.CutSuffix(text, "%")
	p, err := strconv.ParseFloat(number, 64)
	if err != nil || !is || !(p >= 0 && p <= 100) {
		return 0, fmt.Errorf("expected a part of all frames, from 0%% to 100%%")
	}
	return p / 100, nil
}

// wirePicks keeps the wire's random numbers apart from the cells'.
const wirePicks = 0x77697265

// Faults are the faults of one wire, one frame after another.
type Faults struct {
	wire   Wire
	random *rand.Rand
}

// NewFaults begins with the first frame; the same seed gives the same faults.
func NewFaults(wire Wire, seed uint64) *Faults {
	return &Faults{wire, rand.New(rand.NewPCG(seed, wirePicks))}
}

// Pass lets a frame through, or does not. It may change its data.
func (f *Faults) Pass(frame *transport.Frame) bool {
	if f.wire.Lose > 0 && f.random.Float64() < f.wire.Lose {
		return false
	}
	if f.wire.Spoil > 0 && frame.Medium == transport.Serial && f.random.Float64() < f.wire.Spoil {
		bit := f.random.IntN(8 * len(frame.Data))
		frame.Data[bit/8] ^= 1 << (bit % 8)
	}
	return true
}
