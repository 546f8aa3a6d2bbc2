package bank

import (
	"encoding/json"
	"fmt"
	"testing"

	"packlink/decode/pack"
)

// filled makes packs of 16 cells and 4 sensors that give everything a bank uses.
func filled(t testing.TB, n int) []pack.Status {
	packs := make([]pack.Status, n)
	for i := range packs {
		packs[i] = heard(t, "left", uint32(i+1), facts{
			pack.Maker: "alder", pack.Model: "A-100", pack.Voltage: "52.81", pack.Current: "-13.6", pack.SOC: "87.8", pack.SOH: "99",
			pack.Remaining: "87.8", pack.Full: "100", pack.Nominal: "100", pack.RemainingEnergy: "4600", pack.Cycles: "12",
			pack.ChargeVoltageLimit: "56", pack.DischargeVoltageLimit: "44.8", pack.ChargeCurrentLimit: "50", pack.DischargeCurrentLimit: "100",
			pack.ChargeAllowed: "true", pack.DischargeAllowed: "true", pack.FullChargeWanted: "false"})
		for c := range 16 {
			packs[i].PutElement(pack.Cells, c, pack.Value{Coef: int64(3289 + c + i), Exp: -3, At: now, Trust: pack.Known})
		}
		for c := range 4 {
			packs[i].PutElement(pack.Temps, c, pack.Value{Coef: int64(215 + c), Exp: -1, At: now, Trust: pack.Known})
		}
		packs[i].Derive()
		packs[i].Alarms.Set(pack.Alarm{}, false)
	}
	return packs
}

func BenchmarkSum(b *testing.B) {
	for _, n := range []int{2, 16} {
		packs := filled(b, n)
		b.Run(fmt.Sprintf("%d_packs", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Sum("boathouse", pack.Int(200), now, packs)
			}
		})
	}
}

// BenchmarkRecord writes the bank record beside encoding/json, which writes
// the same record from a map of its members.
func BenchmarkRecord(b *testing.B) {
	bank := Sum("boathouse", pack.Int(200), now, filled(b, 2))
	room := bank.AppendJSON(nil)
	b.Run("AppendJSON", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			room = bank.AppendJSON(room[:0])
		}
	})
	var members map[string]any
	if err := json.Unmarshal(room, &members); err != nil {
		b.Fatal(err)
	}
	b.Run("encoding_json", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := json.Marshal(members); err != nil {
				b.Fatal(err)
			}
		}
	})
}
