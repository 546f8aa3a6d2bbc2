package decode_test

import (
	"encoding/binary"
	"encoding/json"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/fixtures/beside"
	"packlink/mapping"
	"packlink/mapping/checksum"
	"packlink/transport"
	"packlink/transport/capture"
)

var modbusCRC = checksum.Modbus.Table()

// adu is a Modbus RTU frame: unit, function and data, with its CRC.
func adu(unit, function byte, data ...byte) []byte {
	frame := append([]byte{unit, function}, data...)
	return binary.LittleEndian.AppendUint16(frame, uint16(modbusCRC.Sum(frame)))
}

// ask is the question for registers.
func ask(unit byte, from, count int) []byte {
	return adu(unit, 3, byte(from>>8), byte(from), byte(count>>8), byte(count))
}

// give is the answer with registers.
func give(unit byte, data []byte) []byte {
	return adu(unit, 3, append([]byte{byte(len(data))}, data...)...)
}

// basics are the registers 0 to 39 of the worked example's first message.
func basics(t *testing.T) []byte {
	return slices.Clone(compiled(t, "marrowfen-mf16").Programs[0].Examples[0].Payload)
}

// exampleLine is a line on which the examples of a mapping are asked for, a
// hundred times.
func exampleLine(table *mapping.Compiled) (frames []transport.Frame) {
	for round := range 100 {
		for i := range table.Programs {
			p := &table.Programs[i]
			at := int64(round) * second
			frames = append(frames,
				transport.Frame{Time: at, Medium: transport.Serial, Data: ask(1, p.Read.From, p.Read.Count)},
				transport.Frame{Time: at + second/20, Medium: transport.Serial, Data: give(1, p.Examples[0].Payload)})
		}
	}
	return frames
}

// heard feeds bytes to a decoder of the worked example, each run at its own
// second.
func heard(t *testing.T, runs ...[]byte) (*decode.Decoder, decode.LineCounters) {
	t.Helper()
	d := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
	for i, run := range runs {
		d.Decode(&transport.Frame{Time: int64(i+1) * second / 10, Medium: transport.Serial, Data: run})
	}
	return d, d.LineCounters()
}

// voltages are the voltages of the packs heard, by address.
func voltages(d *decode.Decoder) map[uint32]string {
	all := make(map[uint32]string)
	for i := range d.Packs() {
		var s pack.Status
		d.Status(i, 0, &s)
		all[s.Address] = s.Value(pack.Voltage).Decimal().String()
	}
	return all
}

func withVoltage(registers []byte, centivolts int) []byte {
	registers = slices.Clone(registers)
	binary.BigEndian.PutUint16(registers, uint16(centivolts))
	return registers
}

// TestLineErrors puts each kind of trouble on the line, and wants it told apart
// and nothing wrong decoded. The eight kinds of communication error are those
// of the fieldbus safety literature (IEC 61784-3, by title).
func TestLineErrors(t *testing.T) {
	good := basics(t)
	q1, a1 := ask(1, 0, 40), give(1, good)
	q2 := ask(2, 0, 40)
	bent := slices.Clone(a1)
	bent[10] ^= 0x40
	none := map[uint32]string{}
	one := map[uint32]string{1: "52.94"}
	for name, c := range map[string]struct {
		runs  [][]byte
		want  decode.LineCounters
		packs map[uint32]string
	}{
		"in order":                        {[][]byte{q1, a1}, decode.LineCounters{Requests: 1, Answers: 1}, one},
		"corruption":                      {[][]byte{q1, bent, q2}, decode.LineCounters{Requests: 2, Unanswered: 1, BadChecksum: 1}, none},
		"corrupted question":              {[][]byte{append([]byte{1, 3, 0, 1}, q1[4:]...), a1}, decode.LineCounters{Unasked: 1, Noise: 8}, none},
		"repetition of the question":      {[][]byte{q1, q1, a1}, decode.LineCounters{Requests: 2, Repeated: 1, Unanswered: 1, Answers: 1}, one},
		"repetition of the answer":        {[][]byte{q1, a1, give(1, withVoltage(good, 5000))}, decode.LineCounters{Requests: 1, Answers: 1, Unasked: 1}, one},
		"wrong order":                     {[][]byte{a1, q1}, decode.LineCounters{Requests: 1, Unasked: 1}, none},
		"loss of the answer":              {[][]byte{q1, q2, give(2, good)}, decode.LineCounters{Requests: 2, Unanswered: 1, Answers: 1}, map[uint32]string{2: "52.94"}},
		"loss of the answer's end":        {[][]byte{q1, a1[:30], q2, give(2, good)}, decode.LineCounters{Requests: 2, Unanswered: 1, Answers: 1, Half: 1}, map[uint32]string{2: "52.94"}},
		"loss of the answer's beginning":  {[][]byte{q1, a1[30:], q2, give(2, good)}, decode.LineCounters{Requests: 2, Unanswered: 1, Answers: 1, Noise: 55}, map[uint32]string{2: "52.94"}},
		"delay beyond the next question":  {[][]byte{q1, q2, a1, give(2, good)}, decode.LineCounters{Requests: 2, Unanswered: 1, Unasked: 1, Answers: 1}, map[uint32]string{2: "52.94"}},
		"delay beyond a shorter question": {[][]byte{q1, ask(1, 64, 9), a1}, decode.LineCounters{Requests: 2, Unanswered: 1, Unasked: 1}, none},
		"insertion of noise":              {[][]byte{{0x55, 0xAA}, q1, {0x00, 0xFF}, a1, {0x01}}, decode.LineCounters{Requests: 1, Answers: 1, Noise: 4}, one},
		"insertion of a foreign frame":    {[][]byte{q1, adu(9, 6, 0, 1, 0, 3), a1}, decode.LineCounters{Requests: 1, Unanswered: 1, Other: 1, Unasked: 1}, none},
		"masquerade: a text like a frame": {[][]byte{[]byte("\x01\x03 hello, this is no frame at all")}, decode.LineCounters{Noise: 0}, none},
		"wrong address":                   {[][]byte{q1, give(2, good)}, decode.LineCounters{Requests: 1, Unasked: 1}, none},
		"refused":                         {[][]byte{ask(1, 64, 41), adu(1, 0x83, 3)}, decode.LineCounters{Requests: 1, Refusals: 1}, none},
		"refused by another":              {[][]byte{q1, adu(2, 0x83, 2), a1}, decode.LineCounters{Requests: 1, Unasked: 1, Answers: 1}, one},
		"a count that does not fit":       {[][]byte{q1, give(1, good[:40])}, decode.LineCounters{Requests: 1, Unasked: 1}, none},
		"other functions":                 {[][]byte{adu(5, 16, 0, 1, 0, 2, 4, 0, 10, 1, 2), adu(5, 16, 0, 1, 0, 2), adu(5, 1, 0, 19, 0, 19), adu(5, 1, 3, 0xCD, 0x6B, 5)}, decode.LineCounters{Other: 4}, none},
	} {
		t.Run(name, func(t *testing.T) {
			d, got := heard(t, c.runs...)
			got.Bytes = 0
			if got != c.want {
				t.Errorf("counted %+v, want %+v", got, c.want)
			}
			if packs := voltages(d); !reflect.DeepEqual(packs, c.packs) {
				t.Errorf("packs %v, want %v", packs, c.packs)
			}
		})
	}
}

func TestAnswerAfterTooLong(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
	d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: ask(1, 0, 40)})
	d.Decode(&transport.Frame{Time: 7 * second, Medium: transport.Serial, Data: give(1, basics(t))})
	if got := d.LineCounters(); got.Unasked != 1 || d.Packs() != 0 {
		t.Errorf("an answer after six seconds is taken: %+v", got)
	}
}

func TestLostBytesEndTheExchange(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
	d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: ask(1, 0, 40)})
	d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Flags: transport.Lost, Data: give(1, basics(t))})
	if got := d.LineCounters(); got.Unasked != 1 || got.Unanswered != 1 || d.Packs() != 0 {
		t.Errorf("an answer behind a gap is paired with the question before it: %+v", got)
	}
}

// TestRegistersInParts reads the message's registers in parts, as another
// master would: each part is taken, a part that is not read keeps its age.
func TestRegistersInParts(t *testing.T) {
	good := basics(t)
	d := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
	exchange := func(at int64, from, count int) {
		d.Decode(&transport.Frame{Time: at, Medium: transport.Serial, Data: ask(1, from, count)})
		d.Decode(&transport.Frame{Time: at, Medium: transport.Serial, Data: give(1, good[2*from:2*(from+count)])})
	}
	var s pack.Status
	exchange(second, 10, 16) // cells, before their count is known
	d.Status(0, second, &s)
	if s.Has(pack.Cells) || s.Has(pack.Voltage) {
		t.Errorf("cells without their count: %s", s.AppendJSON(nil))
	}
	exchange(2*second, 0, 10)
	exchange(3*second, 10, 16)
	exchange(4*second, 34, 2)
	exchange(5*second, 6, 1) // half of a counter, and nothing else
	d.Status(0, 5*second, &s)
	if s.Value(pack.Voltage).At != 2*second || len(s.Elements(pack.Cells)) != 16 || s.Has(pack.Temps) {
		t.Errorf("in parts: %s", s.AppendJSON(nil))
	}
	if active, known := s.Alarms.State(mustAlarm(t, "discharge_overcurrent", "warning")); !active || !known {
		t.Error("the warning is not heard")
	}
	binary.BigEndian.PutUint16(good[70:], 0)
	exchange(6*second, 35, 1)
	d.Status(0, 6*second, &s)
	if active, known := s.Alarms.State(mustAlarm(t, "discharge_overcurrent", "warning")); active || !known {
		t.Error("the warning is not taken back")
	}
	if _, known := s.Alarms.State(mustAlarm(t, "cell_overvoltage", "protection")); !known {
		t.Error("reading the warnings alone forgot the protections")
	}
}

func mustAlarm(t *testing.T, kind, level string) pack.Alarm {
	t.Helper()
	a, ok := pack.ParseAlarm(kind, level)
	if !ok {
		t.Fatal(kind, level)
	}
	return a
}

// TestCountOutOfRange leaves the status as it was.
func TestCountOutOfRange(t *testing.T) {
	good := basics(t)
	bad := withVoltage(good, 4000)
	binary.BigEndian.PutUint16(bad[18:], 17)
	d, _ := heard(t, ask(1, 0, 40), give(1, good), ask(1, 0, 40), give(1, bad))
	if got := voltages(d); got[1] != "52.94" {
		t.Errorf("packs %v", got)
	}
	if counters := d.Counters(); counters[decode.OutOfRange] != 1 {
		t.Errorf("counters %v", counters)
	}
}

// TestRechunking is the promise that a torn or glued stream gives the same
// records: any cutting of a stream of frames and noise counts and decodes alike.
func TestRechunking(t *testing.T) {
	good := basics(t)
	rapid.Check(t, func(r *rapid.T) {
		var stream []byte
		for range rapid.IntRange(1, 12).Draw(r, "exchanges") {
			unit := rapid.ByteRange(1, 3).Draw(r, "unit")
			centivolts := rapid.IntRange(4000, 6000).Draw(r, "voltage")
			answer := give(unit, withVoltage(good, centivolts))
			cut := rapid.IntRange(0, len(answer)).Draw(r, "cut")
			for _, part := range [][]byte{
				ask(unit, 0, 40), answer[cut:], rapid.SliceOfN(rapid.Byte(), 0, 9).Draw(r, "noise"),
				rapid.SampledFrom([][]byte{nil, ask(unit, 0, 40), answer, answer[:cut]}).Draw(r, "more"),
			} {
				stream = append(stream, part...)
			}
		}
		whole := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
		whole.Decode(&transport.Frame{Time: 1, Medium: transport.Serial, Data: stream})
		torn := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
		for rest := stream; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(r, "run")
			torn.Decode(&transport.Frame{Time: 1, Medium: transport.Serial, Data: rest[:n]})
			rest = rest[n:]
		}
		if whole.LineCounters() != torn.LineCounters() || !reflect.DeepEqual(voltages(whole), voltages(torn)) {
			r.Fatalf("whole %+v %v, torn %+v %v", whole.LineCounters(), voltages(whole), torn.LineCounters(), voltages(torn))
		}
	})
}

// TestNoiseGivesNothing listens to a MiB of random bytes: no answer is
// found, as question and answer must agree, not the CRC alone.
func TestNoiseGivesNothing(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	d := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
	chunk := make([]byte, 64<<10)
	for range 16 {
		for i := range chunk {
			chunk[i] = byte(random.Uint32())
		}
		d.Decode(&transport.Frame{Time: 1, Medium: transport.Serial, Data: chunk})
	}
	if got := d.LineCounters(); got.Answers != 0 || d.Packs() != 0 || got.Bytes != 1<<20 {
		t.Errorf("%+v", got)
	}
}

// TestBenchLine decodes a capture that was made elsewhere: two packs, a
// foreign meter, noise, refused reads and a lost answer.
func TestBenchLine(t *testing.T) {
	const folder = "../../shared/captures/"
	text, err := os.ReadFile(folder + "bench-rs485.truth.json")
	if err != nil {
		beside.Missing(t, "the shared captures are not here: ", err)
	}
	var truth map[string]map[string]any
	if err := json.Unmarshal(text, &truth); err != nil {
		t.Fatal(err)
	}
	r, err := capture.Open(folder + "bench-rs485.pcapng")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	d := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
	var f transport.Frame
	for r.Receive(&f) == nil {
		d.Decode(&f)
	}
	if d.Packs() != len(truth) {
		t.Fatalf("%d packs, want %d", d.Packs(), len(truth))
	}
	for i := range d.Packs() {
		var s pack.Status
		d.Status(i, f.Time, &s)
		var got map[string]any
		if err := json.Unmarshal(s.AppendJSON(nil), &got); err != nil {
			t.Fatal(err)
		}
		compareUnit(t, truth[pack.Int(int64(s.Address)).String()], got, &s)
	}
}

func compareUnit(t *testing.T, want, got map[string]any, s *pack.Status) {
	t.Helper()
	compared := 0
	for key, value := range want {
		switch key {
		case "lifetime_mah": // has no quantity
		case "at":
			if late := s.Time - int64(value.(float64)); late < -1000 || late > 1000 { // a float's digits end at 256 ns
				t.Errorf("unit %d: time %d, want %v", s.Address, s.Time, value)
			}
		case "protections", "warnings": // their bits are alarms
		case "charge_allowed", "discharge_allowed":
			if got[key] != (value == 1.0) {
				t.Errorf("unit %d, %s: got %v, want %v", s.Address, key, got[key], value)
			}
		default:
			compared++
			if !reflect.DeepEqual(got[key], value) {
				t.Errorf("unit %d, %s: got %v, want %v", s.Address, key, got[key], value)
			}
		}
	}
	if compared < 12 || want["warnings"] != 32.0 || want["protections"] != 0.0 {
		t.Errorf("compared %d keys of a truth that is not the expected one", compared)
	}
	wantAlarm := pack.AlarmSet{}
	wantAlarm.Set(mustAlarm(t, "discharge_overcurrent", "warning"), true)
	if s.Alarms.Active != wantAlarm.Active {
		t.Errorf("unit %d: alarms %v", s.Address, got["alarms"])
	}
}

// FuzzLine feeds arbitrary bytes between a question and its answer: the answer
// that follows is found, whatever came before, unless the bytes asked anew.
func FuzzLine(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{1, 3, 80})
	f.Add(ask(2, 0, 40))
	f.Add([]byte{1, 0x83, 2, 0xC0, 0xF1})
	f.Add([]byte{9, 16, 0, 0, 0, 120, 240})
	f.Fuzz(func(t *testing.T, data []byte) {
		d, _ := heard(t, data, ask(1, 0, 40), give(1, basics(t)), data)
		c := d.LineCounters()
		if c.Answers == 0 && d.Packs() > 0 {
			t.Errorf("a pack without an answer: %+v", c)
		}
		if c.Bytes != uint64(2*len(data)+8+85) {
			t.Errorf("%d bytes are counted", c.Bytes)
		}
	})
}
