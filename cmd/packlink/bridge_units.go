package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/mapping/document"
)

// The Modbus units that there can be; bankUnit shows the bank if nothing else is said.
const (
	bankUnit = 1
	lastUnit = 247
)

// wholeBank is the name of the bank where packs are named by their source.
const wholeBank = "bank"

// shownUnit is what one Modbus unit, or one address on a bus, shows: the bank, or
// one pack.
type shownUnit struct {
	unit       uint32
	text       string // as the configuration says it: bank, SOURCE or SOURCE/ADDRESS
	source     string // of the pack; "" for the bank
	address    uint32
	hasAddress bool
}

// of is what the unit shows of a bank at one instant; nil if its pack is not
// there.
func (u *shownUnit) of(b *bank.Bank) *bank.Bank {
	if u.source == "" {
		return b
	}
	for i := range b.Packs {
		if p := &b.Packs[i]; u.is(p) {
			return bank.Alone(b.Whole.Now, p)
		}
	}
	return nil
}

// status is what is known of the bank or the pack; fresh is false if nothing of it
// is heard any more.
func (u *shownUnit) status(b *bank.Bank) (s *pack.Status, fresh bool) {
	if u.source == "" {
		heard, known := b.Whole.Usable(pack.PacksFresh)
		return &b.Whole, known && heard.Coef > 0
	}
	for i := range b.Packs {
		if p := &b.Packs[i]; u.is(p) {
			return p, p.Fresh
		}
	}
	return nil, false
}

func (u *shownUnit) is(p *pack.Status) bool {
	return p.Source == u.source && p.HasAddress == u.hasAddress && p.Address == u.address
}

// numbered says what the units of an output are called, and which there can be.
type numbered struct {
	key, name   string
	first, last int64
}

var modbusUnits = numbered{"units", "unit", 1, lastUnit}

// shownUnits reads which unit shows what: {1: bank, 2: left/1}.
func (l planLoader) shownUnits(n *document.Node, as numbered, sources []sourcePlan) (units []shownUnit) {
	if l.Object(n, fmt.Sprintf("%q of an output", as.key)) == nil {
		return nil
	}
	for _, pair := range n.Pairs {
		u := l.shownUnit(pair.Value, sources)
		u.unit = uint32(l.Int(pair.Key, "the number of a "+as.name, as.first, as.last))
		same := func(other shownUnit) bool { return other.unit == u.unit }
		if n, err := document.ParseInt(pair.Key.Text); err == nil && n == int64(u.unit) && slices.ContainsFunc(units, same) {
			l.Report(pair.Key, ruleTwice, "%s %d stands twice", as.name, u.unit) // as 1 and as 0x1
		}
		units = append(units, u)
	}
	if len(units) == 0 {
		l.Report(n, document.RuleMissingKey, "%q names no %s; write {1: bank}", as.key, as.name)
	}
	return units
}

// shownUnit reads what one unit shows.
func (l planLoader) shownUnit(n *document.Node, sources []sourcePlan) shownUnit {
	u := shownUnit{text: l.Text(n, "what is shown")}
	if u.text != "" && !u.find(sources) {
		l.Report(n, ruleEndpoint, "%q is neither bank, nor a source, nor SOURCE/ADDRESS; the sources are %s", u.text, namesOf(sources))
	}
	return u
}

// shows reads what an output of frames shows: one thing, or one at each address.
func (l planLoader) shows(p *outputPlan, at *document.Node, sources []sourcePlan) {
	bits := p.table.AddressBits()
	switch n := p.shows; {
	case p.units != nil:
		l.Report(at, ruleEndpoint, "%s has addresses, and no units: write shows in their place", p.to)
	case n == nil:
		p.units = []shownUnit{{unit: bankUnit, text: wholeBank}}
	case n.Kind != document.Map:
		p.units = []shownUnit{l.shownUnit(n, sources)}
		p.units[0].unit = bankUnit
	case p.table.OneOnABus():
		l.Report(n, ruleEndpoint, "mapping %s has no addresses that tell packs apart, so the output shows one thing, such as bank or left", p.table.Name)
	default:
		p.units = l.shownUnits(n, numbered{"shows", "address", 0, 1<<min(bits, 32) - 1}, sources)
	}
}

// find reads the text. A source may have a slash in its name.
func (u *shownUnit) find(sources []sourcePlan) bool {
	if u.text == wholeBank {
		return true
	}
	if u.source = u.text; isSource(sources, u.source) {
		return true
	}
	at := strings.LastIndex(u.text, "/")
	if at < 0 {
		return false
	}
	address, err := strconv.ParseUint(u.text[at+1:], 0, 32)
	u.source, u.address, u.hasAddress = u.text[:at], uint32(address), true
	return err == nil && isSource(sources, u.source)
}

// isSource tells whether packs can have this name of a source: its own, or that of one
// of its channels.
func isSource(sources []sourcePlan, name string) bool {
	return slices.ContainsFunc(sources, func(s sourcePlan) bool {
		channel, is := strings.CutPrefix(name, s.name+channelMark)
		return s.name != "" && (name == s.name || is && !strings.Contains(channel, "/"))
	})
}

func namesOf(sources []sourcePlan) string {
	names := make([]string, len(sources))
	for i, s := range sources {
		names[i] = s.name
	}
	return strings.Join(names, ", ")
}

// unitOption is the unit of the endpoint's option, which shows the bank.
func (p *outputPlan) unitOption() error {
	text, given := p.to.Options["unit"]
	if !given {
		return nil
	}
	unit, err := strconv.ParseUint(text, 10, 8)
	if err != nil || unit < 1 || unit > lastUnit {
		return fmt.Errorf("%s: unit must be a number from 1 to %d", p.to, lastUnit)
	}
	if len(p.units) > 0 {
		return fmt.Errorf("%s: the option unit and the key units exclude one another", p.to)
	}
	p.units = []shownUnit{{unit: uint32(unit), text: wholeBank}}
	return nil
}
