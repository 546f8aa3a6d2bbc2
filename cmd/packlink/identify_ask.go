package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"packlink/decode"
	"packlink/mapping"
	"packlink/transport"
)

const (
	// knock is how long an address has to answer the questions of a mapping before
	// the next one is asked; those that answer are asked on.
	knock = 1500 * time.Millisecond

	// firstAddresses is how many addresses are tried: those that a pack has when it
	// is new or set by a switch of two bits.
	firstAddresses = 4

	// answersToBeSure is how many answers of a pack are enough if the answer is clear
	// then, and answersInDoubt how many are heard if it is not.
	answersToBeSure = 8
	answersInDoubt  = 10
)

// attempt is a mapping and an address to ask by it.
type attempt struct {
	table   *mapping.Compiled
	address uint32
}

// asking tries one mapping and address after another on a line.
type asking struct {
	from  transport.Endpoint
	trial *decode.Trial
	most  time.Duration // to ask a pack that answers
}

// tryAsking asks the questions of each mapping that has some, one mapping and one
// address at a time, at the speed that the mapping's document gives. A bus of
// another kind than the endpoint is not asked.
func (j *identifyJob) tryAsking(ctx context.Context, from transport.Endpoint, tables []*mapping.Compiled, s *streams) (decode.Verdict, error) {
	a := &asking{from: from, trial: decode.NewTrial(tables), most: j.most}
	var tries []attempt
	for _, table := range tables {
		for _, address := range addressesToTry(table, from) {
			tries = append(tries, attempt{table, address})
		}
	}
	if len(tries) == 0 {
		return decode.Verdict{}, usageError{fmt.Errorf("identify: no mapping has questions for %s", from)}
	}
	fmt.Fprintf(s.log, "asking on %s: only questions that read are transmitted; %d tries, which take %v if nobody answers\n",
		from, len(tries), time.Duration(len(tries))*knock)
	for i, try := range tries {
		fmt.Fprintf(s.log, "  %d of %d: %s at %s, address %d\n", i+1, len(tries), try.table.Name, withLineOf(from, try.table).Full(), try.address)
		verdict, err := a.try(ctx, try.table, try.address)
		if err != nil || verdict.Chosen != nil || ctx.Err() != nil {
			return verdict, err
		}
	}
	return a.trial.Result(), nil
}

// addressesToTry are the first addresses of the packs that a mapping can ask at an
// endpoint, none if it cannot ask there.
func addressesToTry(table *mapping.Compiled, from transport.Endpoint) (addresses []uint32) {
	if !slices.Contains(busOf(table), from.Scheme) || table.Bus.Registers == nil && !table.HasQuestions() {
		return nil
	}
	span := [2]int{1, firstAddresses}
	switch {
	case !table.AsksByAddress():
		return []uint32{0}
	case table.Bus.Registers != nil:
		span = table.Bus.Registers.Units
	case table.Bus.Serial != nil:
		span = table.Bus.Serial.Addresses
	}
	for address := max(span[0], 1); address <= span[1] && len(addresses) < firstAddresses; address++ {
		addresses = append(addresses, uint32(address))
	}
	return addresses
}

// try asks one address by one mapping, and goes on while it answers.
func (a *asking) try(ctx context.Context, table *mapping.Compiled, address uint32) (decode.Verdict, error) {
	ctx, cancel := context.WithTimeout(ctx, a.most)
	defer cancel()
	r, err := ask(ctx, withLineOf(a.from, table), table, []uint32{address}, func(string) {})
	if err != nil {
		return decode.Verdict{}, err
	}
	defer r.Close()
	silence := time.AfterFunc(knock, cancel)
	probe := decode.NewDecoder(table, "")
	err = receive(ctx, r, func(f *transport.Frame) error {
		a.trial.Frame(f)
		if probe.Decode(f) == decode.Decoded {
			silence.Stop()
		}
		answers := probe.Counters()[decode.Decoded]
		if answers >= answersInDoubt || answers >= answersToBeSure && a.trial.Result().Chosen != nil {
			cancel()
		}
		return nil
	})
	if err != nil {
		return decode.Verdict{}, err
	}
	return a.trial.Result(), nil
}
