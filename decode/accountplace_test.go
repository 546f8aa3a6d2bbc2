package decode_test

import (
	"slices"
	"testing"

	"packlink/decode"
	"packlink/transport"
)

// TestPlaces holds how places are shown.
func TestPlaces(t *testing.T) {
	for want, bits := range map[string][]decode.Bits{
		"byte 3":                             {{Byte: 3, High: 7}},
		"bytes 0 to 2":                       {{Byte: 0, High: 7}, {Byte: 1, High: 7}, {Byte: 2, High: 7}},
		"byte 1 bit 6":                       {{Byte: 1, Low: 6, High: 6}},
		"byte 1 bits 0 to 2 and 7":           {{Byte: 1, High: 2}, {Byte: 1, Low: 7, High: 7}},
		"byte 0 bits 4 to 7, byte 1":         {{Byte: 0, Low: 4, High: 7}, {Byte: 1, High: 7}},
		"byte 0, byte 2, byte 3 bits 0 to 3": {{Byte: 0, High: 7}, {Byte: 2, High: 7}, {Byte: 3, High: 3}},
	} {
		if got := (&decode.Span{Bits: bits}).Place(); got != want {
			t.Errorf("%v is %q, want %q", bits, got, want)
		}
	}
}

// TestPlacesOnTheBus wants places as the bus counts: registers by their numbers,
// high byte first, and what is not in a frame with its place.
func TestPlacesOnTheBus(t *testing.T) {
	mf16 := compiled(t, "marrowfen-mf16")
	line := compiled(t, "../fixtures/mapping/walk/line-1.yaml")
	for want, a := range map[string]*decode.Account{
		"byte 1 bit 0 (register 34 bit 0)":              decode.AccountRegisters(mf16, 34, []byte{0, 1}),
		"byte 0 bit 3 (register 34 bit 11)":             decode.AccountRegisters(mf16, 34, []byte{0, 1}),
		"bytes 2 to 5 (registers 6 to 7)":               decode.AccountRegisters(mf16, 5, []byte{0, 1, 0, 2, 0, 3}),
		"bytes 3 to 4 (register 5)":                     decode.AccountRTU(mf16, []byte{1, 3, 2, 0, 97, 0x78, 0x6C}, 5),
		"bytes 0 to 1 (register 0)":                     decode.AccountModel(compiled(t, "sunspec-battery"), []byte{3, 34, 0, 0}),
		"not there: current_a (register 1)":             decode.AccountRegisters(mf16, 4, []byte{0, 1}),
		"not there: lifetime_mah (registers 6 to 7)":    decode.AccountRegisters(mf16, 4, []byte{0, 1}),
		"not there: charge_allowed (register 33 bit 0)": decode.AccountRegisters(mf16, 0, []byte{0, 1}),
		"not there: soc_pct (bytes 4 to 5), which may be left off": decode.AccountCAN(compiled(t, "storage-can-35x"),
			&transport.Frame{Medium: transport.CAN, ID: 0x355, Data: []byte{96, 0, 99, 0}}),
		"bytes 4 to 5": decode.AccountSerial(line, lineBytes(t, "5A0201035283 58FE"), nil),
		"not there: soc_pct (byte 2 of the data)": decode.AccountSerial(line, lineBytes(t, "5A0201025283EB"), nil),
	} {
		if places := placesIn(a); !slices.Contains(places, want) {
			t.Errorf("%q is not said: %q", want, places)
		}
	}
}

// placesIn are the places of an account's spans, and what is not there.
func placesIn(a *decode.Account) (places []string) {
	for i := range a.Spans {
		places = append(places, a.Spans[i].Place())
	}
	for _, absent := range a.Absent {
		places = append(places, "not there: "+absent)
	}
	return places
}

// TestBytesAsTheyStand wants the bytes of a number in the frame's order beside the
// number that they make.
func TestBytesAsTheyStand(t *testing.T) {
	a := decode.AccountCAN(compiled(t, "storage-can-35x"), &transport.Frame{Medium: transport.CAN, ID: 0x351, Data: []byte{0x34, 2, 1, 0, 2, 0}})
	if s := a.Spans[0]; s.Bytes != "34 02" || s.Raw != "0234" || string(s.Value) != "56.4" {
		t.Errorf("%+v", s)
	}
}
