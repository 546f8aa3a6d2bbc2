package draft_test

import (
	"bytes"
	"flag"
	"fmt"
	"math/big"
	"os"
	"slices"
	"strings"
	"testing"

	"go.einride.tech/can"
	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/draft"
	"packlink/transport"
)

var update = flag.Bool("update", false, "write testdata/boathouse.yaml")

// TestDraftOfAFile drafts a DBC file of our own invention, and wants the draft
// beside it.
func TestDraftOfAFile(t *testing.T) {
	d, err := draft.DBC("boathouse.dbc", read(t, "testdata/boathouse.dbc"))
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("testdata/boathouse.yaml", d.Text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want := read(t, "testdata/boathouse.yaml"); !bytes.Equal(d.Text, want) {
		t.Errorf("the draft is not testdata/boathouse.yaml; try: go test ./mapping/draft -update\n%s", d.Text)
	}
	m := loaded(t, d.Text)
	for name, want := range map[string]string{
		"PackCurrent": "i16 at 2.0 little", "Mode": "u4 at 6.4 little", "CellVoltage2": "u16 at 3.0 big",
		"Odd": "i13 at 3.0 big", "EnergyLeft": "u32 at 0.0 little", "Counter": "u8 at 7.0 little",
	} {
		f := field(m, "", name)
		if f == nil {
			t.Errorf("there is no %s", name)
			continue
		}
		order := map[bool]string{true: "little", false: "big"}[f.Little]
		if got := fmt.Sprintf("%s at %d.%d %s", f.Type.Name, f.At, f.Bit, order); got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
	checkLoads(t, d)
	if text := string(adopted(d.Text)); !strings.Contains(text, "as: f32, is: remaining_wh") {
		t.Errorf("the float is not proposed:\n%s", text)
	}
}

// TestLostIsSaid wants each thing that a draft cannot say told, and told in the
// file too.
func TestLostIsSaid(t *testing.T) {
	d, err := draft.DBC("boathouse.dbc", read(t, "testdata/boathouse.dbc"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"VECTOR__INDEPENDENT_SIG_MSG: signals of no message have no place", "SG_MUL_VAL_ is not read",
		"Overlapping, Again: it shares bits with voltage_v", "Overlapping, Far: it ends at byte 5, and the message has 4",
		"message Twin: its frames are those of Energy", "message Long: it has 223 bytes",
		"Overlapping, Wide: it has 65 bits", "Overlapping, Exact: the scale 1e-30",
	} {
		if !slices.ContainsFunc(d.Lost, func(l string) bool { return strings.Contains(l, want) }) {
			t.Errorf("%q is not told: %q", want, d.Lost)
		}
		if !strings.Contains(string(d.Text), want) {
			t.Errorf("the draft does not say %q", want)
		}
	}
}

// signal is a random signal of a frame of eight bytes.
type signal struct {
	start, size    int
	big, signed    bool
	factor, offset pack.Decimal
}

func drawSignal(t *rapid.T) signal {
	s := signal{big: rapid.Bool().Draw(t, "big"), size: rapid.IntRange(1, 40).Draw(t, "size")}
	s.signed = s.size > 1 && rapid.Bool().Draw(t, "signed")
	first := rapid.IntRange(0, 64-s.size).Draw(t, "first")
	s.start = first
	if s.big { // the start is the most significant bit, whose number in its byte falls
		s.start = first/8*8 + 7 - first%8
	}
	s.factor = pack.Decimal{Coef: rapid.Int64Range(1, 9999).Draw(t, "factor"), Exp: int8(rapid.IntRange(-4, 0).Draw(t, "exponent"))}
	s.offset = pack.Decimal{Coef: rapid.Int64Range(-9999, 9999).Draw(t, "offset"), Exp: -2}
	return s
}

func (s *signal) dbc() string {
	order, sign := "1", "+"
	if s.big {
		order = "0"
	}
	if s.signed {
		sign = "-"
	}
	return fmt.Sprintf("VERSION \"\"\nNS_ :\nBS_:\nBU_: A\nBO_ 849 M: 8 A\n SG_ Voltage : %d|%d@%s%s (%s,%s) [0|0] \"V\" A\n",
		s.start, s.size, order, sign, s.factor, s.offset)
}

// want is the value of the signal by the bit functions of go.einride.tech/can
// v0.17.0 (package can, type Data), which read a signal by what DBC says of it.
func (s *signal) want(data can.Data) *big.Rat {
	raw := new(big.Int)
	start, size := uint8(s.start), uint8(s.size)
	switch {
	case s.big && s.signed:
		raw.SetInt64(data.SignedBitsBigEndian(start, size))
	case s.big:
		raw.SetUint64(data.UnsignedBitsBigEndian(start, size))
	case s.signed:
		raw.SetInt64(data.SignedBitsLittleEndian(start, size))
	default:
		raw.SetUint64(data.UnsignedBitsLittleEndian(start, size))
	}
	value := new(big.Rat).SetInt(raw)
	return value.Add(value.Mul(value, rat(s.factor)), rat(s.offset))
}

func rat(d pack.Decimal) *big.Rat {
	r, _ := new(big.Rat).SetString(fmt.Sprintf("%de%d", d.Coef, d.Exp))
	return r
}

// TestSignalsStandWhereDBCSays drafts random signals, adopts what is proposed,
// and decodes random frames. A signal of one bit is no voltage, so it stands in
// a field that is named.
func TestSignalsStandWhereDBCSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSignal(t)
		d, err := draft.DBC("random.dbc", []byte(s.dbc()))
		if err != nil {
			t.Fatal(err)
		}
		text := adopted(d.Text)
		m, err := mapping.Draft("random.yaml", text, nil)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		f := &m.Messages[0].Fields[0]
		if s.size == 1 {
			f.Let, f.Target = "", &mapping.Target{Quantity: pack.Voltage}
			f.Scale, f.Offset = s.factor, s.offset
		}
		c, err := mapping.Compile(m)
		if err != nil {
			t.Fatal(err)
		}
		var data can.Data
		copy(data[:], rapid.SliceOfN(rapid.Byte(), 8, 8).Draw(t, "data"))
		decoder := decode.NewDecoder(c, "test")
		if outcome := decoder.Decode(&transport.Frame{Time: 1, Medium: transport.CAN, ID: 849, Data: data[:]}); outcome != decode.Decoded {
			t.Fatalf("the frame is %v\n%s", outcome, text)
		}
		var status pack.Status
		decoder.Status(0, 1, &status)
		if got, want := rat(status.Value(pack.Voltage).Decimal()), s.want(data); got.Cmp(want) != 0 {
			t.Errorf("%s is %s, want %s\n%s", s.dbc(), got.FloatString(6), want.FloatString(6), text)
		}
	})
}

const dbcHead = "VERSION \"\"\nNS_ :\nBS_:\nBU_: A\n"

func TestDBCRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"":                            "describes no message",
		"{}":                          "x.dbc:1:",
		dbcHead:                       "describes no message",
		dbcHead + "BO_ 1 M: 8":        "x.dbc:5:",
		dbcHead + "BO_ 1 M: 0 A":      "describes no message",
		dbcHead + "BO_ 4096 M: 8 A\n": "invalid",
		dbcHead + "BO_ 1 M: 8 A\n SG_ S m0M : 0|8@1+ (1,0) [0|0] \"\" A\n": "left out: message M: S is there at some values of a switch",
		dbcHead + "BO_ 1 M: 8 A\n SG_ S : -1|8@1+ (1,0) [0|0] \"\" A\n":    "x.dbc:6:",
	} {
		if d, err := draft.DBC("x.dbc", []byte(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: got %v, %v, want an error that says %s", text, d, err, says)
		}
	}
}

// TestMultiplexedWithoutSwitch and others that a draft takes, and says so.
func TestDBCOddities(t *testing.T) {
	for body, says := range map[string]string{
		"BO_ 1 M: 8 A\n SG_ S m3 : 0|8@1+ (1,0) [0|0] \"\" A\n":                                                     "no signal of the message says when",
		"BO_ 1 M: 8 A\n SG_ X M : 0|2@1+ (1,0) [0|0] \"\" A\n SG_ S m4 : 8|8@1+ (1,0) [0|0] \"\" A\nBO_ 2 N: 1 A\n": "has 2 bits and is never 4",
		"BO_ 1 M: 8 A\nBO_ 1 N: 8 A\n":                                               "its frames are those of M",
		"BO_ 1 M: 16 A\n SG_ S : 1|64@1+ (1,0) [0|0] \"\" A\n":                       "reaches into nine bytes",
		"BO_ 1 M: 8 A\n SG_ S : 0|16@1+ (1,0) [0|0] \"\" A\nSIG_VALTYPE_ 1 S : 1;\n": "a float has 32 or 64 bits",
		"BO_ 1 M: 65 A\nBO_ 2 N: 8 A\n":                                              "it has 65 bytes",
	} {
		d, err := draft.DBC("x.dbc", []byte(dbcHead+body))
		if err != nil {
			t.Errorf("%q: %v", body, err)
			continue
		}
		loaded(t, d.Text)
		if lost := strings.Join(d.Lost, "\n"); !strings.Contains(lost, says) {
			t.Errorf("%q: told %q, want %s", body, lost, says)
		}
	}
}

// j1939 is a file whose messages are known by their parameter group. The longer
// ones travel by the transport protocol.
const j1939 = `VERSION ""
NS_ :
BS_:
BU_: A
BO_ 2566848001 Short: 8 A
 SG_ Voltage : 0|16@1+ (0.05,0) [0|0] "V" A
BO_ 2566848257 Long: 40 A
 SG_ Voltage : 304|16@1+ (0.05,0) [0|0] "V" A
BO_ 2566848513 Longer: 1786 A
BO_ 2566848003 Again: 8 A
BA_DEF_ BO_ "VFrameFormat" ENUM "a","b","c","J1939PG";
BA_ "VFrameFormat" BO_ 2566848001 3;
BA_ "VFrameFormat" BO_ 2566848257 3;
BA_ "VFrameFormat" BO_ 2566848513 3;
`

func TestParameterGroups(t *testing.T) {
	d, err := draft.DBC("x.dbc", []byte(j1939))
	if err != nil {
		t.Fatal(err)
	}
	m := loaded(t, d.Text)
	if c := m.Messages[0].CAN; !c.HasPGN || c.PGN != 0xFEFE || c.Transfer != mapping.OneFrame {
		t.Errorf("Short is %+v", c)
	}
	if c := m.Messages[1].CAN; !c.HasPGN || c.PGN != 0xFEFF || c.Transfer != mapping.J1939Protocol {
		t.Errorf("Long is %+v", c)
	}
	for _, want := range []string{"Longer: it has 1786 bytes", "Again: its frames are those of Short"} {
		if lost := strings.Join(d.Lost, "\n"); !strings.Contains(lost, want) {
			t.Errorf("%q is not told: %s", want, lost)
		}
	}
}

// TestOldText reads a degree sign of ISO 8859-1, and a name that is no key.
func TestOldText(t *testing.T) {
	d, err := draft.DBC("../Böse Datei.DBC", []byte(dbcHead+"BO_ 1 M: 8 A\n SG_ _T : 0|8@1- (1,0) [0|0] \"\xb0C\" A\nCM_ SG_ 1 _T \"a\x01b\tc\";\n"))
	if err != nil {
		t.Fatal(err)
	}
	m := loaded(t, d.Text)
	if m.Name != "b-se-datei" || field(m, "M", "s_T") == nil || !strings.Contains(string(d.Text), "is: temp_c") || !strings.Contains(string(d.Text), "# a b c") {
		t.Errorf("the draft is\n%s", d.Text)
	}
}

// FuzzDBC reads any text as a DBC file: whatever can be drafted loads, and so do
// its proposals.
func FuzzDBC(f *testing.F) {
	f.Add(read(f, "testdata/boathouse.dbc"))
	f.Add([]byte(j1939))
	f.Add([]byte(nested))
	f.Add([]byte(dbcHead + "BO_ 2566848512 M: 8 A\n SG_ S m0 : 0|8@1+ (1,0) [0|0] \"\" A\nBA_DEF_ BO_ \"VFrameFormat\" ENUM \"a\",\"J1939PG\";\nBA_ \"VFrameFormat\" BO_ 2566848512 1;\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := draft.DBC("fuzz.dbc", data)
		if err != nil {
			return
		}
		checkLoads(t, d)
	})
}

// checkLoads wants a draft that loads, unless it says that it is too large.
func checkLoads(t *testing.T, d *draft.Draft) {
	t.Helper()
	if n := len(d.Lost); n > 0 && strings.Contains(d.Lost[n-1], "the draft cannot be read: the file has") {
		return
	}
	loaded(t, d.Text)
	if _, err := mapping.Draft("adopted.yaml", adopted(d.Text), nil); err != nil {
		t.Errorf("the proposals do not load: %v\n%s", err, adopted(d.Text))
	}
}

// TestDraftTooLarge wants it said that a draft is too large to be read.
func TestDraftTooLarge(t *testing.T) {
	var source strings.Builder
	source.WriteString("VERSION \"\"\nNS_ :\nBS_:\nBU_: PACK\n")
	for i := range 600 {
		fmt.Fprintf(&source, "BO_ %d M%d: 8 PACK\n SG_ A%d : 0|16@1+ (1,0) [0|0] \"\" PACK\n SG_ B%d : 16|16@1+ (1,0) [0|0] \"\" PACK\n\n", i+1, i, i, i)
	}
	d, err := draft.DBC("large.dbc", []byte(source.String()))
	if err != nil {
		t.Fatal(err)
	}
	if lost := strings.Join(d.Lost, "\n"); !strings.Contains(lost, "the draft cannot be read: the file has") {
		t.Errorf("it is said: %s", lost)
	}
}
