package mapping_test

import (
	"path/filepath"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// TestGoodFiles holds that each construct of the format loads, compiles, and
// does what its examples say, both ways.
func TestGoodFiles(t *testing.T) {
	for _, f := range fixtures(t, "good") {
		t.Run(filepath.Base(f.path), func(t *testing.T) {
			c, problems := lint(t, f.path, f.data)
			if len(problems) > 0 {
				t.Fatal(problems)
			}
			if name := strings.TrimSuffix(filepath.Base(f.path), ".yaml"); c.Name != name {
				t.Errorf("the mapping is named %s", c.Name)
			}
			decodeExamples(t, c)
		})
	}
}

// decodeExamples sends each example of a CAN mapping through the decoder, which
// must find its message and its address.
func decodeExamples(t *testing.T, c *mapping.Compiled) {
	t.Helper()
	for i := range c.Programs {
		p := &c.Programs[i]
		for _, e := range p.Examples {
			if p.Frame != nil {
				decodeTorn(t, c, &e)
			}
			if p.CAN == nil {
				continue
			}
			d := decode.NewDecoder(c, "test")
			outcome := decode.Unknown
			err := decode.Carry(p, uint32(max(e.Address, 0)), 0, e.Payload, func(f *transport.Frame) error {
				f.Time = 1
				outcome = d.Decode(f)
				return nil
			})
			if err != nil || outcome != decode.Decoded {
				t.Errorf("message %q: the example % X is %v, %v", p.Name, e.Payload, outcome, err)
			}
			checkAddress(t, d, e.Address)
		}
	}
}

// decodeTorn sends an example's question and frame byte by byte.
func decodeTorn(t *testing.T, c *mapping.Compiled, e *mapping.Example) {
	t.Helper()
	d := decode.NewDecoder(c, "test")
	outcome := decode.Unknown
	for _, b := range append(append([]byte(nil), e.Asks...), e.Payload...) {
		outcome = d.Decode(&transport.Frame{Time: 1, Medium: transport.Serial, Data: []byte{b}})
	}
	if outcome != decode.Decoded || d.Packs() != 1 {
		t.Errorf("the example %q is %v", e.Payload, outcome)
	}
	checkAddress(t, d, e.Address)
}

func checkAddress(t *testing.T, d *decode.Decoder, want int) {
	t.Helper()
	if d.Packs() == 0 || want < 0 {
		return
	}
	var s pack.Status
	d.Status(0, 1, &s)
	if !s.HasAddress || s.Address != uint32(want) {
		t.Errorf("the address is %d (%t), not %d", s.Address, s.HasAddress, want)
	}
}

// TestOptionsChoose holds that an option's choice reaches the field.
func TestOptionsChoose(t *testing.T) {
	data := read(t, "../fixtures/mapping/good/options.yaml")
	for choice, want := range map[string]int64{"": 1, "charge-positive": 1, "discharge-positive": -1} {
		options := map[string]string{"current": choice}
		if choice == "" {
			options = nil
		}
		m, err := mapping.Load("options.yaml", data, options)
		if err != nil {
			t.Fatal(err)
		}
		if got := m.Messages[0].Fields[0].Scale; got != (pack.Decimal{Coef: want, Exp: -1}) {
			t.Errorf("%q: the scale is %v", choice, got)
		}
	}
}

// TestOptionsRefuse holds that a wrong option says which there are.
func TestOptionsRefuse(t *testing.T) {
	for _, c := range []struct {
		file, option, choice, says string
	}{
		{"options", "curent", "charge-positive", `has no option "curent"; it has: current`},
		{"options", "current", "positive", "must be charge-positive or discharge-positive, not \"positive\""},
		{"text", "current", "positive", "it has: none"},
	} {
		_, err := mapping.Load(c.file, read(t, "../fixtures/mapping/good/"+c.file+".yaml"), map[string]string{c.option: c.choice})
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s?%s=%s: got %v, want an error that says %s", c.file, c.option, c.choice, err, c.says)
		}
	}
}
