package pack

import (
	"encoding/json"
	"testing"
	"time"
)

// benchStatus has the numbers of a pack of 16 cells and 16 sensors.
func benchStatus() *Status {
	s := &Status{Time: noon, Now: noon + 100_000_000, Source: "shed", Mapping: "bench", Address: 1, HasAddress: true}
	for q := range Count {
		switch r := q.Row(); {
		case r.Group == bankGroup:
		case r.Kind == Number:
			s.SetNumber(q, Decimal{52831 + int64(q), -3}, noon)
		case r.Kind == Numbers:
			for i := range 16 {
				s.PutElement(q, i, Value{Coef: 3301 + int64(i), Exp: -3, Trust: Known})
			}
		}
	}
	return s
}

// benchRecord is the struct a program would give encoding/json for the same record.
type benchRecord struct {
	Time                  time.Time `json:"time"`
	Source                string    `json:"source"`
	Address               uint32    `json:"address"`
	Mapping               string    `json:"mapping"`
	Modules               float64   `json:"modules"`
	Voltage               float64   `json:"voltage_v"`
	Current               float64   `json:"current_a"`
	Power                 float64   `json:"power_w"`
	SOC                   float64   `json:"soc_pct"`
	SOH                   float64   `json:"soh_pct"`
	Remaining             float64   `json:"remaining_ah"`
	Full                  float64   `json:"full_ah"`
	Nominal               float64   `json:"nominal_ah"`
	RemainingEnergy       float64   `json:"remaining_wh"`
	NominalVoltage        float64   `json:"nominal_v"`
	NominalEnergy         float64   `json:"nominal_wh"`
	Cycles                float64   `json:"cycles"`
	TimeToFull            float64   `json:"time_to_full_s"`
	TimeToEmpty           float64   `json:"time_to_empty_s"`
	Cells                 []float64 `json:"cells_v"`
	CellMax               float64   `json:"cell_max_v"`
	CellMaxAt             float64   `json:"cell_max_at"`
	CellMin               float64   `json:"cell_min_v"`
	CellMinAt             float64   `json:"cell_min_at"`
	CellSpread            float64   `json:"cell_spread_v"`
	Temp                  float64   `json:"temp_c"`
	Temps                 []float64 `json:"temps_c"`
	TempMax               float64   `json:"temp_max_c"`
	TempMin               float64   `json:"temp_min_c"`
	TempSwitch            float64   `json:"temp_switch_c"`
	TempAmbient           float64   `json:"temp_ambient_c"`
	ChargeVoltageLimit    float64   `json:"charge_voltage_limit_v"`
	DischargeVoltageLimit float64   `json:"discharge_voltage_limit_v"`
	ChargeCurrentLimit    float64   `json:"charge_current_limit_a"`
	DischargeCurrentLimit float64   `json:"discharge_current_limit_a"`
	Age                   float64   `json:"age_s"`
}

// peer is the record of a status in the struct, and its JSON.
func peer(tb testing.TB, s *Status) (r benchRecord, text []byte) {
	tb.Helper()
	if err := json.Unmarshal(s.AppendJSON(nil), &r); err != nil {
		tb.Fatal(err)
	}
	text, err := json.Marshal(&r)
	if err != nil {
		tb.Fatal(err)
	}
	return r, text
}

// Both sides of the benchmark write the same bytes.
func TestBenchmarkComparesTheSameRecord(t *testing.T) {
	s := benchStatus()
	if _, want := peer(t, s); string(s.AppendJSON(nil)) != string(want) {
		t.Errorf("the record is\n%s, and encoding/json writes\n%s", s.AppendJSON(nil), want)
	}
}

// BenchmarkRecord writes the record of a pack with 61 numbers, beside
// encoding/json with an equivalent struct.
func BenchmarkRecord(b *testing.B) {
	s := benchStatus()
	b.Run("packlink", func(b *testing.B) {
		var line []byte
		b.ReportAllocs()
		for b.Loop() {
			line = s.AppendJSON(line[:0])
		}
	})
	b.Run("encoding-json", func(b *testing.B) {
		r, _ := peer(b, s)
		b.ReportAllocs()
		for b.Loop() {
			if _, err := json.Marshal(&r); err != nil {
				b.Fatal(err)
			}
		}
	})
}
