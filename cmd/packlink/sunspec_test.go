package main

import (
	"bytes"
	"context"
	"net"
	"testing"
	"time"

	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/mapping/library"
	"packlink/transport"
)

// knownBank is a bank of two packs of four cells, whose every number is chosen.
func knownBank(now int64) *bank.Bank {
	packs := make([]pack.Status, 2)
	for i := range packs {
		s, n := &packs[i], int64(i)
		s.Source, s.Time, s.Now, s.Fresh = "shed", now, now, true
		for q, d := range map[pack.Quantity]pack.Decimal{
			pack.Voltage: {Coef: 13251 + n, Exp: -3}, pack.Current: {Coef: -253 + 40*n, Exp: -1}, pack.SOC: {Coef: 875 - n, Exp: -1}, pack.SOH: {Coef: 98, Exp: 0},
			pack.Cycles: {Coef: 300 + n}, pack.Nominal: {Coef: 100}, pack.NominalVoltage: {Coef: 128, Exp: -1}, pack.ChargeCurrentLimit: {Coef: 50},
		} {
			s.SetNumber(q, d, now)
		}
		s.PutText(pack.Serial, []byte{'S', 'N', '-', byte('1' + i)}, pack.Value{At: now, Trust: pack.Known})
		for c := range 4 {
			s.PutElement(pack.Cells, c, pack.Value{Coef: 3312 + int64(c) + n, Exp: -3, At: now, Trust: pack.Known})
			s.PutElement(pack.Temps, c, pack.Value{Coef: 235 - int64(c), Exp: -1, At: now, Trust: pack.Known})
			s.PutElement(pack.Balancing, c, pack.Value{Coef: int64(c) & 1, At: now, Trust: pack.Known})
		}
		hot, _ := pack.ParseAlarm("overtemperature", "warning")
		s.Alarms.Set(hot, i == 1)
		s.Derive()
	}
	return bank.Sum("shed", pack.Decimal{}, now, packs)
}

// serveBank shows a bank on Modbus/TCP, as the bridge does, and returns the address
// and how to show another.
func serveBank(t *testing.T, b *bank.Bank) (address string, show func(*bank.Bank)) {
	t.Helper()
	table, err := library.Compile("sunspec-battery")
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	to, _ := transport.ParseEndpoint("modbus-tcp:" + listener.Addr().String())
	out, err := (&outputPlan{to: to, table: table}).openServer(listener, new(bytes.Buffer))
	if err != nil {
		t.Fatal(err)
	}
	out.publish(b, nil)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = out.run(ctx)
	}()
	t.Cleanup(func() { cancel(); <-done })
	return listener.Addr().String(), func(b *bank.Bank) { out.publish(b, nil) }
}

// pollBank asks for the models behind an address, as the bridge does.
func pollBank(t *testing.T, address string) *source {
	t.Helper()
	table, err := library.Compile("sunspec-battery")
	if err != nil {
		t.Fatal(err)
	}
	from, _ := transport.ParseEndpoint("modbus-tcp:" + address)
	plan := &sourcePlan{name: "far", from: from, table: table, poll: true, units: []uint32{1}}
	if err := plan.connect(); err != nil {
		t.Fatal(err)
	}
	s := newSource(plan, func() {})
	ctx, cancel := context.WithCancel(context.Background())
	done, log := make(chan struct{}), new(bytes.Buffer)
	go func() {
		defer close(done)
		s.run(ctx, log)
	}()
	t.Cleanup(func() { cancel(); <-done; t.Log(log) })
	return s
}

// wholePacks waits until so many packs are fresh and have their cells.
func wholePacks(t *testing.T, s *source, n, cells int) []pack.Status {
	t.Helper()
	for deadline := time.Now().Add(15 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		packs, health := s.statuses(nil, time.Now().UnixNano())
		whole := 0
		for i := range packs {
			if len(packs[i].Elements(pack.Cells)) == cells && packs[i].Has(pack.Voltage) {
				whole++
			}
		}
		if health.Fresh && len(packs) == n && whole == n {
			return packs
		}
	}
	t.Fatalf("%d packs are not heard: %v", n, s.decoders)
	return nil
}

// TestBridgeToBridge holds that a bank which one bridge shows as SunSpec registers
// comes out of another's source as it went in, pack by pack and cell by cell.
func TestBridgeToBridge(t *testing.T) {
	sent := knownBank(time.Now().UnixNano())
	address, show := serveBank(t, sent)
	s := pollBank(t, address)
	packs := wholePacks(t, s, 2, 4)
	for i := range packs {
		got, want := &packs[i], &sent.Packs[i]
		if got.Address != uint32(i+1) || got.Source != "far" || got.Text(pack.Serial) != want.Text(pack.Serial) || got.Text(pack.Maker) != "packlink" {
			t.Errorf("pack %d is %s", i+1, got.AppendJSON(nil))
		}
		for _, q := range []pack.Quantity{
			pack.Voltage, pack.Current, pack.SOC, pack.SOH, pack.Cycles, pack.CellMax, pack.CellMin, pack.CellMaxAt, pack.CellMinAt, pack.CellSpread, pack.TempMax, pack.TempMin,
		} {
			if a, b := got.Value(q).Decimal(), want.Value(q).Decimal(); !got.Has(q) || a.Cmp(b) != 0 {
				t.Errorf("pack %d: %v is %v, want %v", i+1, q, a, b)
			}
		}
		for _, q := range []pack.Quantity{pack.Cells, pack.Temps, pack.Balancing} {
			for c, v := range want.Elements(q) {
				if all := got.Elements(q); len(all) != 4 || all[c].Decimal().Cmp(v.Decimal()) != 0 {
					t.Errorf("pack %d: %v are %v, want %v", i+1, q, all, want.Elements(q))
				}
			}
		}
		if got.Alarms.Active != want.Alarms.Active {
			t.Errorf("pack %d: alarms %b, want %b", i+1, got.Alarms.Active, want.Alarms.Active)
		}
	}
	show(bank.Sum("shed", pack.Decimal{}, time.Now().UnixNano(), sent.Packs[:1]))
	if one := wholePacks(t, s, 1, 4); one[0].Text(pack.Serial) != "SN-1" || !one[0].Has(pack.ChargeCurrentLimit) {
		t.Errorf("the one pack that is left is %s", one[0].AppendJSON(nil))
	}
}
