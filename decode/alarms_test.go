package decode_test

import (
	"fmt"
	"slices"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

const coded = `
{name: codes, can: {id: 1}, length: [1, 8], fields: [{at: 0, as: u8, let: n, range: [0, 7]},
 {at: 1, as: u8, repeat: n, alarms: {1: [cell_undervoltage, warning], 2: [cell_overvoltage, protection], 3: [[overtemperature, warning], [charge_overtemperature, warning]], 4: [other, warning]}}],
 examples: [{hex: "", gives: {}, source: s}]},
{name: one, can: {id: 2}, fields: [{at: 0, as: u8, alarms: {1: [cell_undervoltage, warning], 2: [cell_overvoltage, protection], other: [other, warning]}, missing: [0xFF]}],
 examples: [{hex: "", gives: {}, source: s}]}`

// told is a status whose cells have these millivolts and that tells of all alarms.
func told(t testing.TB, cells []int64, alarms ...string) (s pack.Status) {
	t.Helper()
	for i, mv := range cells {
		s.PutElement(pack.Cells, i, pack.Value{Coef: mv, Exp: -3, Trust: pack.Known})
	}
	s.Alarms.Known = 1<<63 - 1
	for _, text := range alarms {
		var kind, level string
		fmt.Sscan(text, &kind, &level)
		a, ok := pack.ParseAlarm(kind, level)
		if !ok {
			t.Fatal(text)
		}
		s.Alarms.Set(a, true)
	}
	return s
}

// TestCodesAreWritten holds where the codes of active alarms go.
func TestCodesAreWritten(t *testing.T) {
	c := table(t, 11, coded)
	for _, v := range []struct {
		message int
		cells   []int64
		alarms  []string
		want    string
	}{
		{0, []int64{3300, 3100, 3500}, nil, "1#03 00 00 00 0"},
		{0, []int64{3300, 3100, 3500}, []string{"cell_undervoltage warning"}, "1#03 00 01 00 0"},
		{0, []int64{3300, 3100, 3500}, []string{"cell_undervoltage warning", "cell_overvoltage protection"}, "1#03 00 01 02 0"},
		{0, []int64{3300, 3100, 3500}, []string{"other warning"}, "1#03 04 00 00 0"},
		{0, []int64{3300, 3100, 3500}, []string{"charge_overtemperature warning"}, "1#03 03 00 00 0"},                  // no temperatures: the first
		{0, []int64{3500, 3500}, []string{"cell_undervoltage warning", "cell_overvoltage protection"}, "1#02 02 01 0"}, // the same cell: the next that is free
		{0, nil, []string{"cell_undervoltage warning", "cell_overvoltage protection"}, "1#01 02 0"},                    // one element: the protection
		{0, []int64{1, 1, 1, 1, 1, 1, 1, 1}, nil, ""},                                                                  // more cells than n may count
		{1, nil, []string{"cell_undervoltage warning", "cell_overvoltage protection"}, "2#02 0"},
		{1, nil, []string{"other warning"}, "2#00 0"}, // other is only read
	} {
		s := told(t, v.cells, v.alarms...)
		got, err := frames(c, v.message, &s)
		if v.want == "" && err != nil {
			continue
		}
		if err != nil || !slices.Equal(got, []string{v.want}) {
			t.Errorf("%v with %v is %q, %v, want %q", v.alarms, v.cells, got, err, v.want)
		}
	}
	var nothing pack.Status
	if got, err := frames(c, 1, &nothing); err != nil || got[0] != "2#FF 0" {
		t.Errorf("no knowledge is %q, %v", got, err)
	}
	if got, err := frames(c, 0, &nothing); err == nil {
		t.Errorf("no knowledge is %q, though no code says so", got)
	}
}

// TestCodesAreRead holds what codes say, alone and together.
func TestCodesAreRead(t *testing.T) {
	c := table(t, 11, coded)
	for _, v := range []struct {
		id    uint32
		data  []byte
		known bool
		want  []string
	}{
		{1, []byte{3, 0, 0, 0}, true, nil},
		{1, []byte{3, 0, 2, 1}, true, []string{"cell_overvoltage protection", "cell_undervoltage warning"}},
		{1, []byte{1, 0, 2, 1}, true, nil}, // two that are not counted
		{1, []byte{3, 0}, true, nil},       // two that are not there
		{1, []byte{2, 9, 9}, false, nil},   // no meaning
		{1, []byte{2, 9, 3}, true, []string{"overtemperature warning"}},
		{1, []byte{0}, false, nil},
		{2, []byte{7}, true, []string{"other warning"}},
		{2, []byte{255}, false, nil},
	} {
		d := decode.NewDecoder(c, "bus")
		f := transport.Frame{Time: 1, Medium: transport.CAN, ID: v.id, Data: v.data}
		if got := d.Decode(&f); got != decode.Decoded {
			t.Fatalf("% X is %v", v.data, got)
		}
		var s pack.Status
		d.Status(0, 1, &s)
		var got []string
		for a := range s.Alarms.All() {
			got = append(got, a.String())
		}
		if known := s.Alarms.Known != 0; known != v.known || !slices.Equal(got, v.want) && len(got)+len(v.want) > 0 && !sameSet(got, v.want) {
			t.Errorf("% X gives %q (known: %t), want %q (%t)", v.data, got, known, v.want, v.known)
		}
	}
}

func sameSet(a, b []string) bool {
	a, b = slices.Clone(a), slices.Clone(b)
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(a, b)
}
