package simulate

import (
	"fmt"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/decode/physics"
	"packlink/mapping"
)

// speaker is a pack, or the bank as a whole, that speaks.
type speaker struct {
	pack    int // number of the pack, from 0; -1 for the whole bank
	writer  *decode.Writer
	address uint32
	channel int // of the bus
}

// seat finds who speaks. The error names a pack that has an address which none has.
func (t *Traffic) seat() error {
	if bus := t.table.Bus.Registers; bus != nil && bus.ModelsAt >= 0 {
		t.speakers = []speaker{{pack: -1, address: uint32(bus.Units[0])}}
		return nil
	}
	var s pack.Status
	for i := range t.model.Packs() {
		t.model.Status(i, &s)
		if err := checkAddress(t.table, s.Address); err != nil {
			return err
		}
		who := speaker{pack: i, address: s.Address, writer: decode.NewWriter(t.table)}
		if t.table.OneOnABus() {
			who.channel = i
		}
		who.writer.Frozen = t.wire.Freeze
		t.speakers = append(t.speakers, who)
	}
	return nil
}

// checkAddress says that no pack on a bus of the mapping has an address, if it tells
// packs apart by theirs.
func checkAddress(c *mapping.Compiled, address uint32) error {
	least, most := 0, 1<<c.AddressBits()-1
	switch {
	case c.Bus.Registers != nil:
		least, most = c.Bus.Registers.Units[0], c.Bus.Registers.Units[1]
	case c.AddressBits() == 0:
		return nil
	case c.Bus.Serial != nil:
		least, most = c.Bus.Serial.Addresses[0], c.Bus.Serial.Addresses[1]
	}
	if address < uint32(least) || int64(address) > int64(most) {
		return fmt.Errorf("a pack of the scenario has the address %d; by mapping %s packs have %d to %d", address, c.Name, least, most)
	}
	return nil
}

// status is what a speaker knows now.
func (t *Traffic) status(who *speaker, s *pack.Status) {
	if who.pack >= 0 {
		t.model.Status(who.pack, s)
	} else {
		t.whole().Whole.CopyTo(s)
	}
	s.Address, s.HasAddress = who.address, true
}

// whole is the bank now.
func (t *Traffic) whole() *bank.Bank { return Sum(t.model, "simulated") }

// Sum is the bank of a model at its instant, by a name that is also the packs'
// source.
func Sum(model *physics.Bank, name string) *bank.Bank {
	packs := make([]pack.Status, model.Packs())
	for i := range packs {
		model.Status(i, &packs[i])
		packs[i].Source = name
	}
	return bank.Sum(name, pack.Decimal{}, model.Now(), packs)
}
