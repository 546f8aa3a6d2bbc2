package bank

import (
	"testing"

	"packlink/decode/pack"
)

// ruleCase is one rule of the bank: packs in, quantities out. Packs whose
// number stands in silent are overdue.
type ruleCase struct {
	name    string
	nominal int64
	packs   []facts
	silent  []int
	want    facts
}

var ruleCases = []ruleCase{
	{
		name: "voltage is a mean rounded to 1 mV, current and power are sums",
		packs: []facts{
			{pack.Voltage: "52.8", pack.Current: "-10.05"},
			{pack.Voltage: "52.81", pack.Current: "-17.1"},
			{pack.Voltage: "52.813", pack.Current: "0.002"}},
		// (52.8 + 52.81 + 52.813) / 3 = 52.807666...; the powers are the products.
		want: facts{pack.Voltage: "52.808", pack.Current: "-27.148", pack.Power: "-1433.585374"},
	},
	{
		name: "a voltage half a millivolt off is rounded away from zero",
		packs: []facts{
			{pack.Voltage: "52.8"}, {pack.Voltage: "52.801"}},
		want: facts{pack.Voltage: "52.801", pack.Current: "", pack.Power: ""},
	},
	{
		name: "a sum with one part unknown is unknown, the voltage is not",
		packs: []facts{
			{pack.Voltage: "52.8", pack.Current: "-10", pack.Remaining: "40", pack.Full: "100", pack.RemainingEnergy: "2000", pack.Nominal: "100"},
			{pack.SOC: "50"}},
		want: facts{pack.Voltage: "52.8", pack.Current: "", pack.Power: "", pack.Remaining: "", pack.Full: "",
			pack.RemainingEnergy: "", pack.Nominal: "", pack.SOC: "", pack.PacksFresh: "2"},
	},
	{
		name: "charge is weighted by the full capacity",
		packs: []facts{
			{pack.SOC: "90", pack.SOH: "100", pack.Full: "100", pack.Nominal: "1"},
			{pack.SOC: "60", pack.SOH: "98", pack.Full: "50", pack.Nominal: "1"}},
		// (90*100 + 60*50) / 150 = 80; (100*100 + 98*50) / 150 = 99.33
		want: facts{pack.SOC: "80", pack.SOH: "99.3", pack.Full: "150", pack.Nominal: "2"},
	},
	{
		name: "without every full capacity charge is weighted by the nominal one",
		packs: []facts{
			{pack.SOC: "90", pack.Full: "100", pack.Nominal: "30"},
			{pack.SOC: "60", pack.Nominal: "10"}},
		want: facts{pack.SOC: "82.5", pack.Full: "", pack.Nominal: "40"},
	},
	{
		name:  "without capacities charge is a plain mean",
		packs: []facts{{pack.SOC: "90"}, {pack.SOC: "60.1"}},
		want:  facts{pack.SOC: "75.1"},
	},
	{
		name:  "a full capacity of 0 is no weight",
		packs: []facts{{pack.SOC: "90", pack.Full: "0"}, {pack.SOC: "60", pack.Full: "100"}},
		want:  facts{pack.SOC: "75", pack.Full: "100"},
	},
	{
		name:    "the configured capacity stands, whatever the packs say",
		nominal: 200,
		packs:   []facts{{pack.Nominal: "100", pack.SOC: "50"}, {pack.SOC: "50"}},
		want:    facts{pack.Nominal: "200"},
	},
	{
		name:    "the configured capacity stands without any pack",
		nominal: 200,
		want:    facts{pack.Nominal: "200", pack.Packs: "0", pack.PacksFresh: "0", pack.ChargeAllowed: "false"},
	},
	{
		name: "cell extremes carry their cell and pack",
		packs: []facts{
			{pack.CellMax: "3.31", pack.CellMaxAt: "4", pack.CellMin: "3.3", pack.CellMinAt: "7"},
			{pack.CellMax: "3.314", pack.CellMaxAt: "2", pack.CellMin: "3.289"}},
		want: facts{pack.CellMax: "3.314", pack.CellMaxAt: "2", pack.CellMaxPack: "2",
			pack.CellMin: "3.289", pack.CellMinAt: "", pack.CellMinPack: "2", pack.CellSpread: "0.025"},
	},
	{
		name:  "of equal cells the first pack counts",
		packs: []facts{{pack.SOC: "1"}, {pack.CellMax: "3.31", pack.CellMaxAt: "4"}, {pack.CellMax: "3.310", pack.CellMaxAt: "1"}},
		want:  facts{pack.CellMax: "3.31", pack.CellMaxAt: "4", pack.CellMaxPack: "2", pack.CellMin: "", pack.CellSpread: ""},
	},
	{
		name:  "one temperature counts as highest and lowest",
		packs: []facts{{pack.Temp: "18.5"}, {pack.TempMax: "25", pack.TempMin: "21"}},
		want:  facts{pack.TempMax: "25", pack.TempMin: "18.5", pack.Temp: ""},
	},
	{
		name: "permissions are the safest of the packs'",
		packs: []facts{
			{pack.ChargeVoltageLimit: "56", pack.DischargeVoltageLimit: "44", pack.ChargeCurrentLimit: "50", pack.DischargeCurrentLimit: "100", pack.ChargeAllowed: "true"},
			{pack.ChargeVoltageLimit: "55.2", pack.DischargeVoltageLimit: "45", pack.ChargeCurrentLimit: "20.5", pack.DischargeCurrentLimit: "80", pack.ChargeAllowed: "true", pack.DischargeAllowed: "true"}},
		want: facts{pack.ChargeVoltageLimit: "55.2", pack.DischargeVoltageLimit: "45", pack.ChargeCurrentLimit: "41", pack.DischargeCurrentLimit: "160",
			pack.ChargeAllowed: "true", pack.DischargeAllowed: ""}, // one pack does not say
	},
	{
		name: "one pack that does not allow forbids, and its limit is 0",
		packs: []facts{
			{pack.ChargeAllowed: "true", pack.ChargeCurrentLimit: "50", pack.DischargeCurrentLimit: "50"},
			{pack.ChargeAllowed: "false", pack.DischargeCurrentLimit: "50"}},
		want: facts{pack.ChargeAllowed: "false", pack.ChargeCurrentLimit: "0", pack.DischargeAllowed: "", pack.DischargeCurrentLimit: "100"},
	},
	{
		name:  "a limit that one pack does not give is unknown",
		packs: []facts{{pack.ChargeCurrentLimit: "50", pack.Voltage: "52"}, {pack.Voltage: "52"}},
		want:  facts{pack.ChargeCurrentLimit: "", pack.ChargeAllowed: ""},
	},
	{
		name:  "a pack without a limit changes nothing where another forbids",
		packs: []facts{{pack.ChargeAllowed: "false"}, {pack.Voltage: "52"}},
		want:  facts{pack.ChargeAllowed: "false", pack.ChargeCurrentLimit: "0"},
	},
	{
		name:  "a negative limit is no limit",
		packs: []facts{{pack.ChargeCurrentLimit: "-50"}, {pack.ChargeCurrentLimit: "50"}},
		want:  facts{pack.ChargeCurrentLimit: ""},
	},
	{
		name:  "a wish of one pack is a wish of the bank",
		packs: []facts{{pack.FullChargeWanted: "false", pack.SOC: "1"}, {pack.FullChargeWanted: "true", pack.SOC: "1"}},
		want:  facts{pack.FullChargeWanted: "true", pack.ChargeNowWanted: ""},
	},
	{
		name: "a silent pack is counted and contributes nothing",
		packs: []facts{
			{pack.Voltage: "52", pack.Current: "10", pack.ChargeCurrentLimit: "50", pack.ChargeAllowed: "true", pack.Model: "one"},
			{pack.Voltage: "40", pack.Current: "90", pack.ChargeCurrentLimit: "10", pack.ChargeAllowed: "true", pack.Model: "two"}},
		silent: []int{2},
		want: facts{pack.Packs: "2", pack.PacksFresh: "1", pack.Voltage: "52", pack.Current: "10",
			pack.ChargeCurrentLimit: "50", pack.ChargeAllowed: "true", pack.Model: "one"},
	},
	{
		name:   "with every pack silent nothing is allowed",
		packs:  []facts{{pack.Voltage: "52", pack.ChargeCurrentLimit: "50", pack.ChargeAllowed: "true", pack.Maker: "one"}},
		silent: []int{1},
		want: facts{pack.Packs: "1", pack.PacksFresh: "0", pack.Voltage: "", pack.Power: "", pack.Maker: "",
			pack.ChargeCurrentLimit: "0", pack.DischargeCurrentLimit: "0", pack.ChargeAllowed: "false", pack.DischargeAllowed: "false"},
	},
	{
		name:  "maker and model only where all agree",
		packs: []facts{{pack.SOC: "1", pack.Maker: "alder", pack.Model: "A"}, {pack.SOC: "1", pack.Maker: "alder", pack.Model: "B"}},
		want:  facts{pack.Maker: "alder", pack.Model: ""},
	},
	{
		name:  "a pack without a model leaves the bank without",
		packs: []facts{{pack.SOC: "1", pack.Model: "A"}, {pack.SOC: "1"}},
		want:  facts{pack.Model: ""},
	},
	{
		name:  "a sum that does not fit is unknown",
		packs: []facts{{pack.Current: "999999999999999999"}, {pack.Current: "0.00000000000000001"}},
		want:  facts{pack.Current: "", pack.PacksFresh: "2"},
	},
}

func TestRules(t *testing.T) {
	for _, c := range ruleCases {
		t.Run(c.name, func(t *testing.T) {
			var packs []pack.Status
			for i, f := range c.packs {
				packs = append(packs, heard(t, "left", uint32(i+1), f))
			}
			for _, number := range c.silent {
				silence(&packs[number-1])
			}
			b := Sum("boathouse", pack.Int(c.nominal), now, packs)
			expect(t, &b.Whole, c.want)
		})
	}
}

// An overdue permission of a pack that still gives its voltage forbids, and
// its withheld voltage limit leaves the bank's unknown.
func TestOverduePermissionForbids(t *testing.T) {
	f := facts{pack.Voltage: "52", pack.ChargeCurrentLimit: "50", pack.ChargeAllowed: "true", pack.ChargeVoltageLimit: "56"}
	packs := []pack.Status{heard(t, "left", 1, f), heard(t, "left", 2, f)}
	for _, q := range []pack.Quantity{pack.ChargeCurrentLimit, pack.ChargeAllowed, pack.ChargeVoltageLimit} {
		v := packs[1].Value(q)
		v.At = 0
		packs[1].Put(q, v)
	}
	packs[1].Expire(func(v pack.Value) bool { return v.At == 0 })
	b := Sum("boathouse", pack.Decimal{}, now, packs)
	expect(t, &b.Whole, facts{pack.PacksFresh: "2", pack.ChargeAllowed: "false", pack.ChargeCurrentLimit: "0", pack.ChargeVoltageLimit: ""})
}

// A cell that cannot be trusted might be the extreme, so there is none.
func TestSuspectCellLeavesTheExtremeUnknown(t *testing.T) {
	packs := []pack.Status{heard(t, "left", 1, nil), heard(t, "left", 2, nil)}
	cells(t, &packs[0], "3.3", "3.31", "3.29")
	packs[1].PutElement(pack.Cells, 0, pack.Value{Coef: 45, Exp: -1, At: now, Trust: pack.Known | pack.Above})
	packs[1].PutElement(pack.Cells, 1, pack.Value{Coef: 33, Exp: -1, At: now, Trust: pack.Known})
	b := Sum("boathouse", pack.Decimal{}, now, packs)
	expect(t, &b.Whole, facts{pack.PacksFresh: "2", pack.CellMax: "", pack.CellMaxPack: "", pack.CellMin: "", pack.CellSpread: ""})
}

func TestAlarmsAreTheUnion(t *testing.T) {
	hot, _ := pack.ParseAlarm("overtemperature", "warning")
	low, _ := pack.ParseAlarm("low_charge", "warning")
	packs := []pack.Status{heard(t, "left", 1, facts{pack.SOC: "1"}), heard(t, "left", 2, facts{pack.SOC: "1"})}
	packs[0].Alarms.Set(hot, true)
	packs[0].Alarms.Set(low, false)
	packs[1].Alarms.Set(hot, false)
	if got, want := Sum("b", pack.Decimal{}, now, packs).Whole.Alarms, packs[0].Alarms; got != want {
		t.Errorf("got %b, want %b", got, want)
	}
	packs[0].AlarmsStale = true
	w := &Sum("b", pack.Decimal{}, now, packs[:1]).Whole
	if _, lowKnown := w.Alarms.State(low); lowKnown || !w.AlarmsStale || w.Alarms.Active != hot.Bit() {
		t.Errorf("overdue alarms: got %b, stale %v; want the active one only, and stale", w.Alarms, w.AlarmsStale)
	}
	silence(&packs[0])
	if w := &Sum("b", pack.Decimal{}, now, packs[:1]).Whole; w.Alarms.Known != packLost.Bit() || w.AlarmsStale {
		t.Errorf("a silent pack contributes alarms: %b, stale %v", w.Alarms, w.AlarmsStale)
	}
}

// TestSilentPackIsAnAlarm wants a bank that lost a pack to say so, also where only
// alarms can be told, and permissions that were withdrawn to be listed as stale.
func TestSilentPackIsAnAlarm(t *testing.T) {
	packs := []pack.Status{heard(t, "left", 1, facts{pack.SOC: "1"}), heard(t, "left", 2, facts{pack.SOC: "1"})}
	if _, known := Sum("b", pack.Decimal{}, now, packs).Whole.Alarms.State(packLost); known {
		t.Error("nobody is silent, and the bank speaks of it")
	}
	silence(&packs[1])
	b := Sum("b", pack.Decimal{}, now, packs)
	if active, _ := b.Whole.Alarms.State(packLost); !active || b.Whole.Stale(pack.ChargeAllowed) {
		t.Errorf("one of two is silent: %s", b.AppendJSON(nil))
	}
	silence(&packs[0])
	b = Sum("b", pack.Decimal{}, now, packs)
	for _, d := range directions {
		allowed, known := b.Whole.Usable(d.allowed)
		if !known || allowed.Coef != 0 || !b.Whole.Stale(d.allowed) || !b.Whole.Stale(d.limit) {
			t.Errorf("both are silent: %s", b.AppendJSON(nil))
		}
	}
}

func TestBankIsACopy(t *testing.T) {
	packs := []pack.Status{heard(t, "left", 1, facts{pack.Voltage: "52"})}
	cells(t, &packs[0], "3.3")
	b := Sum("b", pack.Decimal{}, now, packs)
	packs[0].PutElement(pack.Cells, 0, pack.Value{Coef: 9, Trust: pack.Known})
	packs[0].SetNumber(pack.Voltage, pack.Int(1), now)
	if got := b.Packs[0].Elements(pack.Cells)[0].Decimal().String(); got != "3.3" || shown(&b.Packs[0], pack.Voltage) != "52" {
		t.Errorf("a later write to the input changed the bank: cell 1 is %s", got)
	}
}

func TestTimeIsTheNewestOfAnyPack(t *testing.T) {
	packs := []pack.Status{heard(t, "left", 1, facts{pack.Voltage: "52"}), heard(t, "left", 2, facts{pack.Voltage: "52"})}
	packs[0].Time += 5
	silence(&packs[0])
	if w := &Sum("b", pack.Decimal{}, now, packs).Whole; w.Time != packs[0].Time || w.Now != now {
		t.Errorf("time %d, now %d; want %d, %d", w.Time, w.Now, packs[0].Time, now)
	}
}

func TestResultsAreAsOldAsTheirOldestPart(t *testing.T) {
	known := facts{pack.Voltage: "52", pack.Current: "1", pack.SOC: "1"}
	for oldest := range 3 {
		packs := []pack.Status{heard(t, "left", 1, known), heard(t, "left", 2, known), heard(t, "left", 3, known)}
		for _, q := range []pack.Quantity{pack.Voltage, pack.Current, pack.SOC} {
			packs[oldest].SetNumber(q, pack.Int(50), 7)
			if got := Sum("b", pack.Decimal{}, now, packs).Whole.Value(q).At; got != 7 {
				t.Errorf("with pack %d the oldest, %v is of %d, want 7", oldest, q, got)
			}
		}
	}
}

// A permission that is held but cannot be trusted is "not allowed".
func TestUntrustedPermissionForbids(t *testing.T) {
	s := heard(t, "left", 1, facts{pack.Voltage: "52", pack.ChargeCurrentLimit: "50"})
	s.Put(pack.ChargeAllowed, pack.Value{Coef: 1, At: now, Trust: pack.Known | pack.Above})
	b := Sum("b", pack.Decimal{}, now, []pack.Status{s})
	expect(t, &b.Whole, facts{pack.ChargeAllowed: "false", pack.ChargeCurrentLimit: "0"})
}
