package bank

import (
	"testing"

	"packlink/decode/pack"
)

// TestAlone: a pack on its own is a bank of one, with the pack's own facts.
func TestAlone(t *testing.T) {
	p := heard(t, "left", 2, facts{
		pack.Serial: "B-17", pack.Maker: "bench", pack.Voltage: "52.48", pack.Current: "-12.5", pack.SOC: "87.5", pack.Cycles: "41",
		pack.ChargeCurrentLimit: "50", pack.ChargeAllowed: "true", pack.DischargeCurrentLimit: "-1", pack.ChargeVoltageLimit: "56.4",
	})
	cells(t, &p, "3.301", "3.262")
	b := Alone(now, &p)
	expect(t, &b.Whole, facts{
		pack.Serial: "B-17", pack.Maker: "bench", pack.Voltage: "52.48", pack.Current: "-12.5", pack.SOC: "87.5", pack.Cycles: "41",
		pack.ChargeCurrentLimit: "50", pack.ChargeAllowed: "true", pack.DischargeCurrentLimit: "", pack.ChargeVoltageLimit: "56.4",
		pack.Packs: "1", pack.PacksFresh: "1", pack.CellMax: "3.301", pack.CellMaxAt: "1", pack.CellMaxPack: "1", pack.CellMin: "3.262",
		pack.Firmware: "",
	})
	if got := b.Whole.Elements(pack.Cells); len(got) != 2 || got[1].Decimal().String() != "3.262" {
		t.Errorf("its cells are %v", got)
	}
	if b.Name != "left" || len(b.Packs) != 1 || b.Packs[0].Address != 2 {
		t.Errorf("got bank %q of %d packs", b.Name, len(b.Packs))
	}
}

// TestAloneIsSilent: a pack that is not heard allows nothing, and measures nothing.
func TestAloneIsSilent(t *testing.T) {
	p := heard(t, "left", 2, facts{pack.Serial: "B-17", pack.Voltage: "52.48", pack.Cycles: "41", pack.ChargeVoltageLimit: "56.4"})
	silence(&p)
	p.Silence()
	expect(t, &Alone(now, &p).Whole, facts{
		pack.Voltage: "", pack.Cycles: "", pack.ChargeVoltageLimit: "", pack.Packs: "1", pack.PacksFresh: "0",
		pack.ChargeAllowed: "false", pack.DischargeAllowed: "false", pack.ChargeCurrentLimit: "0", pack.DischargeCurrentLimit: "0",
	})
	never := pack.Status{Now: now, Source: "left", Address: 3, HasAddress: true}
	expect(t, &Alone(now, &never).Whole, facts{pack.ChargeAllowed: "false", pack.ChargeCurrentLimit: "0", pack.Serial: ""})
}
