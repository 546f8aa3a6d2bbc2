package serialbus

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"packlink/transport"
)

// The limits of polling.
const (
	// MaxRegisters is the most registers that one request can ask for (MODBUS
	// Application Protocol V1.1b3, section 6.3).
	MaxRegisters = 125

	// DefaultTimeout is how long a unit may take to begin its answer (MODBUS over
	// Serial Line V1.02, section 2.4.1: one second to several).
	DefaultTimeout = time.Second

	// DefaultRetries is how often a request without a good answer is repeated
	// before the registers wait for their next turn.
	DefaultRetries = 2
)

// The functions that ask for registers (MODBUS Application Protocol, section 5.1).
const (
	readHolding = 3
	readInput   = 4
)

// Block is registers that are asked for again and again.
type Block struct {
	Function byte          // 3 holding registers, 4 input registers
	From     uint16        // the first register's address in the request, from 0
	Count    int           // registers; more than a request can ask for are asked for in parts
	Every    time.Duration // the period
	Joined   []int         // registers, counted from From, that are asked for together with the one before, if a request has room for both
}

// Plan is what to ask for.
type Plan struct {
	Units        []byte        // unit addresses: 1 to 247, on Modbus/TCP 0 to 255
	Blocks       []Block       // asked of every unit
	Models       *Models       // found in every unit, and asked for; nil if there are none
	Timeout      time.Duration // until an answer must begin; 0 is DefaultTimeout
	Quiet        time.Duration // silence before a request, if it is to be more than the standard's
	MaxRegisters int           // the most registers of a request; 0 is MaxRegisters
}

// policy is how to ask: the plan's wishes, those of the endpoint, the standard's.
type policy struct {
	timeout   time.Duration
	quiet     time.Duration
	retries   int
	registers int
}

// readPolicy reads the options of an endpoint, which outrank the plan.
func readPolicy(p *place, plan *Plan) (policy, error) {
	how := policy{timeout: plan.Timeout, quiet: plan.Quiet, retries: DefaultRetries, registers: plan.MaxRegisters}
	if how.timeout == 0 {
		how.timeout = DefaultTimeout
	}
	if how.registers == 0 {
		how.registers = MaxRegisters
	}
	for _, option := range []struct {
		name string
		read func(text string) bool
		want string
	}{
		{"timeout", intoDuration(&how.timeout), "a time such as 120ms"},
		{"quiet", intoDuration(&how.quiet), "a time such as 30ms"},
		{"retries", intoNumber(&how.retries), "a number from 0"},
		{"registers", intoNumber(&how.registers), "a number from 1 to 125"},
	} {
		text, given := p.endpoint.Options[option.name]
		if given && !option.read(text) {
			return policy{}, endpointError(p.endpoint, "%s is %q, expected %s", option.name, text, option.want)
		}
	}
	if schemes[p.endpoint.Scheme].framed {
		how.quiet = 0
	} else {
		how.quiet = max(how.quiet, p.silence())
	}
	return how, how.check(p.endpoint)
}

func intoDuration(target *time.Duration) func(string) bool {
	return func(text string) (ok bool) {
		d, err := time.ParseDuration(text)
		*target = d
		return err == nil
	}
}

func intoNumber(target *int) func(string) bool {
	return func(text string) (ok bool) {
		n, err := strconv.Atoi(text)
		*target = n
		return err == nil
	}
}

// The most that a policy can ask for.
const (
	maxWait    = time.Minute
	maxRetries = 10
)

func (how *policy) check(e transport.Endpoint) error {
	switch {
	case how.timeout < time.Millisecond || how.timeout > maxWait:
		return endpointError(e, "the time-out is %v, expected 1ms to %v", how.timeout, maxWait)
	case how.quiet > maxWait:
		return endpointError(e, "the quiet time is %v, expected at most %v", how.quiet, maxWait)
	case how.retries < 0 || how.retries > maxRetries:
		return endpointError(e, "retries is %d, expected 0 to %d", how.retries, maxRetries)
	case how.registers < 1 || how.registers > MaxRegisters:
		return endpointError(e, "a request for at most %d registers is wanted, expected 1 to %d", how.registers, MaxRegisters)
	}
	return nil
}

// check says what is wrong with a plan.
func (plan *Plan) check(e transport.Endpoint) error {
	if len(plan.Units) == 0 || len(plan.Blocks) == 0 && plan.Models == nil {
		return endpointError(e, "there is nothing to ask for: the plan has %d units and %d blocks", len(plan.Units), len(plan.Blocks))
	}
	for i, id := range plan.Units {
		if !schemes[e.Scheme].framed && (id < 1 || id > 247) {
			return endpointError(e, "unit %d cannot be asked: units on a serial line have the addresses 1 to 247", id)
		}
		if slices.Contains(plan.Units[:i], id) {
			return endpointError(e, "unit %d is in the plan twice", id)
		}
	}
	for _, b := range plan.Blocks {
		if fault := b.fault(); fault != "" {
			return endpointError(e, "the plan's block of %d registers from %d: %s", b.Count, b.From, fault)
		}
	}
	return nil
}

func (b *Block) fault() string {
	switch {
	case b.Function != readHolding && b.Function != readInput:
		return fmt.Sprintf("function %d asks for no registers, expected 3 or 4", b.Function)
	case b.Count < 1 || int(b.From)+b.Count > 1<<16:
		return "registers have the addresses 0 to 65535"
	case b.Every <= 0:
		return "it has no period"
	}
	return ""
}
