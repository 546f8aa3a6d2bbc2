package decode_test

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/fixtures/beside"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// everyMapping is each mapping of the library and each construct of the format.
func everyMapping(t *testing.T) map[string]*mapping.Compiled {
	t.Helper()
	all := make(map[string]*mapping.Compiled)
	paths, _ := filepath.Glob("../fixtures/mapping/good/*.yaml")
	if len(paths) == 0 {
		t.Fatal("no files found")
	}
	for _, reference := range append(paths, library.Names()...) {
		all[reference] = compiled(t, reference)
	}
	return all
}

// accounted accounts for bytes as the mapping's bus has them. Of a CAN bus they
// are the data of a frame with the id of the message.
func accounted(c *mapping.Compiled, p *mapping.Program, data []byte) *decode.Account {
	switch {
	case p.CAN != nil:
		f := transport.Frame{Medium: transport.CAN, ID: p.CAN.ID, Data: data}
		if p.CAN.Extended {
			f.Flags = transport.Extended
		}
		return decode.AccountCAN(c, &f)
	case p.Frame != nil:
		return decode.AccountSerial(c, data, nil)
	case p.Read.Model != 0:
		return decode.AccountModel(c, data)
	}
	return decode.AccountRegisters(c, p.Read.From, data)
}

// checkCovered wants every bit of so many bytes in one span.
func checkCovered(t *rapid.T, a *decode.Account, size int) {
	t.Helper()
	seen := make([]byte, size)
	for _, s := range a.Spans {
		for _, b := range s.Bits {
			if b.Byte < 0 || b.Byte >= size || b.Low < 0 || b.High > 7 || b.Low > b.High {
				t.Fatalf("%+v is outside of %d bytes", s, size)
			}
			mask := byte(1<<(b.High+1)-1) &^ (1<<b.Low - 1)
			if seen[b.Byte]&mask != 0 {
				t.Errorf("%+v has bits that another span has: %+v", s, a.Spans)
			}
			seen[b.Byte] |= mask
		}
	}
	if i := slices.IndexFunc(seen, func(b byte) bool { return b != 0xFF }); i >= 0 {
		t.Errorf("byte %d is %08b accounted for: %+v", i, seen[i], a.Spans)
	}
	if _, err := json.Marshal(a); err != nil {
		t.Error(err)
	}
}

// TestEveryBitIsAccountedFor accounts for random bytes of any length by every
// message of every mapping.
func TestEveryBitIsAccountedFor(t *testing.T) {
	for name, c := range everyMapping(t) {
		t.Run(filepath.Base(name), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				p := &c.Programs[rapid.IntRange(0, len(c.Programs)-1).Draw(t, "message")]
				data := slices.Clone(p.Examples[0].Payload)
				if rapid.Bool().Draw(t, "random") {
					data = rapid.SliceOfN(rapid.Byte(), 0, 90).Draw(t, "data")
				}
				for range rapid.IntRange(0, 3).Draw(t, "changes") {
					if len(data) > 0 {
						data[rapid.IntRange(0, len(data)-1).Draw(t, "at")] = rapid.Byte().Draw(t, "byte")
					}
				}
				data = data[:rapid.IntRange(0, len(data)).Draw(t, "size")]
				a := accounted(c, p, data)
				size := len(data)
				if c.Bus.Serial != nil {
					if plain, _, err := c.Bus.Serial.Format.Dissect(data); err == nil {
						size = len(plain)
					}
				}
				checkCovered(t, a, size)
			})
		})
	}
}

// TestAccountGivesExamples holds the values of an account against every example
// of every mapping: single values by their quantity, elements of lists by their
// number, names, alarms that are on.
func TestAccountGivesExamples(t *testing.T) {
	checked := 0
	for name, c := range everyMapping(t) {
		for i := range c.Programs {
			p := &c.Programs[i]
			for _, e := range p.Examples {
				a := accounted(c, p, e.Payload)
				if c.Bus.Serial != nil {
					a = decode.AccountSerial(c, e.Payload, e.Asks)
				}
				if len(a.Problems) > 0 && !p.ByReader || !slices.Equal(a.Messages, []string{p.Name}) {
					t.Errorf("%s, %s: % X is %v: %v", name, p.Name, e.Payload, a.Messages, a.Problems)
					continue
				}
				for _, g := range e.Gives {
					checked += checkGiven(t, name+", "+p.Name, a, g)
				}
			}
		}
	}
	if checked < 300 {
		t.Errorf("only %d values are checked", checked)
	}
}

// checkGiven wants what an example gives in some span.
func checkGiven(t *testing.T, where string, a *decode.Account, g mapping.Given) (checked int) {
	t.Helper()
	for _, alarm := range g.Alarms {
		if !hasSpan(a, alarm.String(), "true") && !mentions(a, pack.AlarmKinds()[alarm.Kind]) {
			t.Errorf("%s: %v is not on: %+v", where, alarm, a.Spans)
		}
		checked++
	}
	for i, text := range g.Texts {
		key := g.Key
		if g.Target != nil {
			key = g.Target.Quantity.String()
			if g.Target.Quantity.Row().Kind.List() {
				key = fmt.Sprintf("%s[%d]", key, g.Target.Element+i+1)
			}
		}
		if text == "null" {
			continue
		}
		quoted, _ := json.Marshal(text)
		if !hasSpan(a, key, text) && !hasSpan(a, key, string(quoted)) && !isText(g) {
			t.Errorf("%s: %s is not %s: %+v", where, key, text, a.Spans)
		}
		checked++
	}
	return checked
}

// isText tells whether a given key is a text, which can come in pieces.
func isText(g mapping.Given) bool {
	return g.Target != nil && g.Target.Quantity.Row().Kind == pack.Word
}

func hasSpan(a *decode.Account, name, value string) bool {
	return slices.ContainsFunc(a.Spans, func(s decode.Span) bool { return s.Name == name && string(s.Value) == value })
}

func mentions(a *decode.Account, kind string) bool {
	return slices.ContainsFunc(a.Spans, func(s decode.Span) bool { return strings.Contains(string(s.Value), kind) })
}

// TestPublishedChecksums accounts for the Modbus RTU frames of the published
// vectors (worked examples of the MODBUS Application Protocol V1.1b3, their CRCs
// computed by another program): the CRC is right, and if a bit is wrong, the
// right CRC is told.
func TestPublishedChecksums(t *testing.T) {
	data, err := os.ReadFile("../../shared/standards/vectors/modbus_vectors.json")
	if err != nil {
		beside.Missing(t, "the published vectors are not here: ", err)
	}
	var vectors []map[string]any
	if err := json.Unmarshal(data, &vectors); err != nil {
		t.Fatal(err)
	}
	c, checked := compiled(t, "marrowfen-mf16"), 0
	for _, vector := range vectors {
		for _, key := range []string{"request_rtu_unit0x11", "response_rtu_unit0x11"} {
			text, _ := vector[key].(string)
			frame, err := hex.DecodeString(text)
			if err != nil || len(frame) < 5 {
				continue
			}
			checked++
			if s := checksumOf(t, decode.AccountRTU(c, frame, 0)); s.Wrong || s.Note != "right" {
				t.Errorf("%s: the CRC is %+v", text, s)
			}
			want := fmt.Sprintf("wrong; it should be % X", frame[len(frame)-2:])
			frame[len(frame)-1] ^= 0x10
			if s := checksumOf(t, decode.AccountRTU(c, frame, 0)); !s.Wrong || s.Note != want {
				t.Errorf("%X: %+v, want %s", frame, s, want)
			}
		}
	}
	if checked < 20 {
		t.Errorf("only %d frames are checked", checked)
	}
}

func checksumOf(t *testing.T, a *decode.Account) *decode.Span {
	t.Helper()
	for i := range a.Spans {
		if a.Spans[i].Kind == decode.SpanChecksum {
			return &a.Spans[i]
		}
	}
	t.Fatalf("there is no checksum: %+v", a)
	return nil
}

// TestDamagedSerialFrames wants something to be wrong with every example of a
// serial line of which any bit is turned.
func TestDamagedSerialFrames(t *testing.T) {
	turned := 0
	for name, c := range everyMapping(t) {
		if c.Bus.Serial == nil {
			continue
		}
		for i := range c.Programs {
			for _, e := range c.Programs[i].Examples {
				for bit := range 8 * len(e.Payload) {
					frame := slices.Clone(e.Payload)
					frame[bit/8] ^= 1 << (bit % 8)
					if a := decode.AccountSerial(c, frame, e.Asks); len(a.Problems) == 0 {
						t.Errorf("%s: % X has no problem: %+v", name, frame, a)
					}
					turned++
				}
			}
		}
	}
	if turned < 500 {
		t.Errorf("only %d bits are turned", turned)
	}
}

// TestAccountProblems wants the reason for each frame that is none.
func TestAccountProblems(t *testing.T) {
	can := func(name string, id uint32, data ...byte) *decode.Account {
		return decode.AccountCAN(compiled(t, name), &transport.Frame{Medium: transport.CAN, ID: id, Data: data})
	}
	mf16, sunspec := compiled(t, "marrowfen-mf16"), compiled(t, "sunspec-battery")
	for says, a := range map[string]*decode.Account{
		"no message has this id":                               can("storage-can-35x", 0x7FF, 1),
		"near: charge: id 355":                                 can("storage-can-35x", 0x354, 1),
		"it has 1 bytes and the message 4 to 8":                can("storage-can-35x", 0x355, 1),
		"messages have this id, but none has these bytes":      can("../fixtures/mapping/good/equals.yaml", 0x351, 0x7F, 1, 2, 3, 4, 5, 6, 7),
		"it is a refusal":                                      decode.AccountRTU(mf16, []byte{1, 0x83, 2, 0xC0, 0xF1}, -1),
		"a frame has at least 5 bytes":                         decode.AccountRTU(mf16, []byte{1, 3}, -1),
		"an answer does not say which registers it holds: say": decode.AccountRTU(mf16, []byte{1, 3, 2, 0, 0, 0xB8, 0x44}, -1),
		"the count of bytes is wrong":                          decode.AccountRTU(mf16, []byte{1, 3, 4, 0, 0, 0, 0}, 0),
		"no message has these registers":                       decode.AccountRegisters(mf16, 50, []byte{0, 1}),
		"near: identity: registers 64 to 72":                   decode.AccountRegisters(mf16, 50, []byte{0, 1}),
		"a register has two bytes, and there are 3":            decode.AccountRegisters(mf16, 0, []byte{0, 1, 2}),
		"the mapping has no model 777":                         decode.AccountModel(sunspec, []byte{3, 9, 0, 0}),
		"a model begins with its id":                           decode.AccountModel(sunspec, []byte{3}),
		"cells is outside its range, so the whole frame":       decode.AccountRegisters(mf16, 9, []byte{0, 17}),
		"no pack has it: they have 1 to 16":                    decode.AccountRTU(mf16, []byte{0x11, 3, 0, 0, 0, 1, 0x86, 0x9A}, -1),
		"asks for basics":                                      decode.AccountRTU(mf16, []byte{1, 3, 0, 0, 0, 1, 0x84, 0x0A}, -1),
		"the mapping's registers are read by function 3":       decode.AccountRTU(mf16, []byte{1, 6, 0, 0, 0, 1, 0x84, 0x0A}, -1),
		"outside its plausible range 0 to 100":                 decode.AccountRegisters(mf16, 4, []byte{0x7F, 0}),
		"the rest of the field is missing":                     decode.AccountRegisters(mf16, 6, []byte{0, 1}),
	} {
		text, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		if want, near := strings.CutPrefix(says, "near: "); near && slices.Contains(a.Nearest, want) {
			continue
		}
		if !strings.Contains(string(text), says) {
			t.Errorf("%q is not said: %s", says, text)
		}
	}
}
