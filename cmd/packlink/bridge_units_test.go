package main

import (
	"testing"

	"packlink/decode/bank"
	"packlink/decode/pack"
)

// TestDocumentedUnits reads the example of docs/bridge.md.
func TestDocumentedUnits(t *testing.T) {
	p, err := loadPlan("testdata/units.yaml")
	if err != nil {
		t.Fatal(err)
	}
	want := []shownUnit{
		{1, "bank", "", 0, false}, {2, "left/1", "left", 1, true}, {3, "left/2", "left", 2, true}, {4, "right", "right", 0, false},
	}
	for i, u := range p.outputs[0].units {
		if u != want[i] {
			t.Errorf("got %+v, want %+v", u, want[i])
		}
	}
	if got := p.outputs[1].units; len(got) != 1 || got[0] != (shownUnit{5, "bank", "", 0, false}) {
		t.Errorf("the option unit gives %+v", got)
	}
}

// TestShownUnit picks each unit's pack, and nothing in place of one that is not there.
func TestShownUnit(t *testing.T) {
	sources := []sourcePlan{{name: "left"}, {name: "a/b"}, {name: "bank"}}
	packs := []pack.Status{
		{Source: "left", Address: 1, HasAddress: true}, {Source: "left"}, {Source: "a/b", Address: 16, HasAddress: true},
		{Source: "left (channel 2)", Address: 1, HasAddress: true}, {Source: "bank", Address: 1, HasAddress: true},
	}
	whole := bank.Sum("shed", pack.Decimal{}, 5, packs)
	for text, want := range map[string]int{"left/1": 0, "left": 1, "a/b/0x10": 2, "left (channel 2)/1": 3, "bank/1": 4, "left/2": -1, "a/b": -1} {
		u := shownUnit{text: text}
		if !u.find(sources) {
			t.Errorf("%s is not found", text)
			continue
		}
		got := u.of(whole)
		if want < 0 {
			if got != nil {
				t.Errorf("%s shows %+v", text, got.Packs[0])
			}
			continue
		}
		if got == nil || len(got.Packs) != 1 || got.Whole.Now != 5 || got.Packs[0].Source != packs[want].Source || got.Packs[0].Address != packs[want].Address {
			t.Errorf("%s shows %+v", text, got)
		}
	}
	all := shownUnit{text: "bank"}
	if !all.find(sources) || all.of(whole) != whole {
		t.Error("bank is not the bank")
	}
	for _, text := range []string{"right", "left/", "left/-1", "left/4294967296", "/1", "left (channel2)"} {
		u := shownUnit{text: text}
		if u.find(sources) {
			t.Errorf("%q is found: %+v", text, u)
		}
	}
}
