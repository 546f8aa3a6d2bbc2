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

// shownUnit is what one Modbus unit shows: the bank, or one pack.
type shownUnit struct {
	unit       byte
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

func (u *shownUnit) is(p *pack.Status) bool {
	return p.Source == u.source && p.HasAddress == u.hasAddress && p.Address == u.address
}

// shownUnits reads which unit shows what: {1: bank, 2: left/1}.
func (l planLoader) shownUnits(n *document.Node, sources []sourcePlan) (units []shownUnit) {
	if l.Object(n, `"units" of an output`) == nil {
		return nil
	}
	for _, pair := range n.Pairs {
		u := shownUnit{unit: byte(l.Int(pair.Key, "a unit", 1, lastUnit)), text: l.Text(pair.Value, "what a unit shows")}
		if u.text != "" && !u.find(sources) {
			l.Report(pair.Value, ruleEndpoint, "unit %d: %q is neither bank, nor a source, nor SOURCE/ADDRESS; the sources are %s",
				u.unit, u.text, namesOf(sources))
		}
		same := func(other shownUnit) bool { return other.unit == u.unit }
		if n, err := document.ParseInt(pair.Key.Text); err == nil && n == int64(u.unit) && slices.ContainsFunc(units, same) {
			l.Report(pair.Key, ruleTwice, "unit %d stands twice", u.unit) // as 1 and as 0x1
		}
		units = append(units, u)
	}
	if len(units) == 0 {
		l.Report(n, document.RuleMissingKey, `"units" names no unit; write {1: bank}`)
	}
	return units
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
	p.units = []shownUnit{{unit: byte(unit), text: wholeBank}}
	return nil
}
