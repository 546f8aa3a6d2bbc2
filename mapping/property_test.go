package mapping_test

import (
	"bytes"
	"fmt"
	"math/big"
	"strings"
	"testing"

	"go.einride.tech/can"
	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// layout is a random way to fill a frame of eight bytes with fields.
type layout struct {
	big     bool // most significant byte first
	address bool // the id holds an address
	fields  []bitField
}

// bitField is a field by its first bit in the order of the bus: bit 0 is the
// least significant one of byte 0 in little byte order, the most significant one
// in big byte order.
type bitField struct {
	first, width  int
	signed        bool
	quantity      pack.Quantity
	scale, offset pack.Decimal
	discharge     bool
}

// numbers are the quantities that are single numbers.
func numbers() (all []pack.Quantity) {
	for q := range pack.Count {
		if q.Row().Kind == pack.Number {
			all = append(all, q)
		}
	}
	return all
}

// drawLayout draws fields that fill a frame, or leave gaps.
func drawLayout(t *rapid.T, gaps bool) layout {
	l := layout{big: rapid.Bool().Draw(t, "big"), address: rapid.Bool().Draw(t, "address")}
	quantities := rapid.Permutation(numbers()).Draw(t, "quantities")
	for first := 0; first < 64 && len(l.fields) < len(quantities); {
		width := rapid.IntRange(1, min(62, 64-first)).Draw(t, "width")
		if len(l.fields) == len(quantities)-1 && !gaps {
			width = min(62, 64-first)
		}
		f := bitField{first: first, width: width, quantity: quantities[len(l.fields)], scale: pack.Int(1)}
		f.signed = width > 1 && rapid.Bool().Draw(t, "signed")
		f.discharge = rapid.Bool().Draw(t, "discharge")
		if width <= 40 { // so that the value fits 62 bits
			f.scale = pack.Decimal{Coef: rapid.Int64Range(1, 9999).Draw(t, "scale"), Exp: int8(rapid.IntRange(-4, 0).Draw(t, "exponent"))}
			f.offset = pack.Decimal{Coef: rapid.Int64Range(-999_999, 999_999).Draw(t, "offset"), Exp: -2}
		}
		if !gaps || rapid.Bool().Draw(t, "kept") || first == 0 {
			l.fields = append(l.fields, f)
		}
		first += width
	}
	return l
}

// place is a field's at and bit as a mapping file says them.
func (l *layout) place(f bitField) (at, bit int) {
	last := f.first + f.width - 1
	if l.big {
		return f.first / 8, 7 - last%8
	}
	return f.first / 8, f.first % 8
}

// text is the layout as a mapping file.
func (l *layout) text() string {
	order, match := "little", "id: 0x351"
	if l.big {
		order = "big"
	}
	if l.address {
		match = "id: 0x18FF0000, id_bits: 29, address: {bit: 8, width: 8}"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "packlink: 1\nname: random\ntitle: t\nsource: [{title: s}]\nbus: {can: {bitrate: 500000, id_bits: 11}}\nbyte_order: %s\n", order)
	fmt.Fprintf(&b, "messages:\n  - name: m\n    can: {%s}\n    length: 8\n    fields:\n", match)
	for _, f := range l.fields {
		at, bit := l.place(f)
		base, sign := "u", "charge-positive"
		if f.signed {
			base = "i"
		}
		if f.discharge {
			sign = "discharge-positive"
		}
		fmt.Fprintf(&b, "      - {at: %d, bit: %d, as: %s%d, is: %s, scale: %s, offset: %s, sign: %s}\n",
			at, bit, base, f.width, f.quantity, f.scale, f.offset, sign)
	}
	b.WriteString("    examples: [{hex: 0000000000000000, gives: {}, source: none}]\n")
	return b.String()
}

// compiled is the layout, loaded and compiled. Its example only stands for one.
func (l *layout) compiled(t *rapid.T) *mapping.Compiled {
	m, err := mapping.Load("random.yaml", []byte(l.text()), nil)
	if err != nil {
		t.Fatalf("%v\n%s", err, l.text())
	}
	c, err := mapping.Compile(m)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// want is a field's value by the bit functions of go.einride.tech/can v0.17.0
// (package can, type Data), a general library, and exact fractions.
func (l *layout) want(f bitField, data can.Data) *big.Rat {
	raw := new(big.Int)
	start, width := uint8(f.first), uint8(f.width)
	msb := uint8(f.first/8*8 + 7 - f.first%8)
	switch {
	case l.big && f.signed:
		raw.SetInt64(data.SignedBitsBigEndian(msb, width))
	case l.big:
		raw.SetUint64(data.UnsignedBitsBigEndian(msb, width))
	case f.signed:
		raw.SetInt64(data.SignedBitsLittleEndian(start, width))
	default:
		raw.SetUint64(data.UnsignedBitsLittleEndian(start, width))
	}
	value := new(big.Rat).SetInt(raw)
	value.Add(value.Mul(value, rat(f.scale)), rat(f.offset))
	if f.discharge {
		value.Neg(value)
	}
	return value
}

func rat(d pack.Decimal) *big.Rat {
	r, _ := new(big.Rat).SetString(fmt.Sprintf("%de%d", d.Coef, d.Exp))
	return r
}

func (l *layout) frame(c *mapping.Compiled, address uint32, data []byte) transport.Frame {
	f := transport.Frame{Time: 1, Medium: transport.CAN, ID: c.Programs[0].ID(address), Data: data}
	if l.address {
		f.Flags = transport.Extended
	}
	return f
}

// decoded is what a frame says.
func (l *layout) decoded(t *rapid.T, c *mapping.Compiled, address uint32, data []byte) (s pack.Status) {
	d, f := decode.NewDecoder(c, "test"), l.frame(c, address, data)
	if outcome := d.Decode(&f); outcome != decode.Decoded {
		t.Fatalf("the frame is %v", outcome)
	}
	d.Status(0, 1, &s)
	return s
}

// TestDecodeAgreesWithGeneralLibrary decodes random bytes by random layouts,
// and writes what they mean back.
func TestDecodeAgreesWithGeneralLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLayout(t, false)
		c := l.compiled(t)
		var data can.Data
		copy(data[:], rapid.SliceOfN(rapid.Byte(), 8, 8).Draw(t, "data"))
		address := uint32(0)
		if l.address {
			address = rapid.Uint32Range(0, 255).Draw(t, "pack")
		}
		s := l.decoded(t, c, address, data[:])
		if s.HasAddress != l.address || s.Address != address {
			t.Errorf("the address is %d (%t), not %d", s.Address, s.HasAddress, address)
		}
		for _, f := range l.fields {
			if got, want := rat(s.Value(f.quantity).Decimal()), l.want(f, data); got.Cmp(want) != 0 {
				t.Errorf("%v is %v, want %v\n%s", f.quantity, got.FloatString(9), want.FloatString(9), l.text())
			}
		}
		back, err := written(c, &s)
		if err != nil || !bytes.Equal(back, data[:]) {
			t.Errorf("% X is written back as % X, %v\n%s", data[:], back, err, l.text())
		}
	})
}

// TestPayloadIsReadBack writes values that random layouts can hold, with gaps
// between the fields, and reads them.
func TestPayloadIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLayout(t, true)
		c := l.compiled(t)
		var data can.Data
		copy(data[:], rapid.SliceOfN(rapid.Byte(), 8, 8).Draw(t, "data"))
		s := l.decoded(t, c, 0, data[:])
		back, err := written(c, &s)
		if err != nil {
			t.Fatal(err)
		}
		again := l.decoded(t, c, 0, back)
		for _, f := range l.fields {
			if got, want := again.Value(f.quantity).Decimal(), s.Value(f.quantity).Decimal(); got != want {
				t.Errorf("%v is %v, want %v\n%s", f.quantity, got, want, l.text())
			}
		}
		for bit := range 64 {
			if l.declares(bit) == 0 && back[bit/8]>>(bit%8)&1 != 0 {
				t.Errorf("bit %d of byte %d belongs to no field and is written\n%s", bit%8, bit/8, l.text())
			}
		}
	})
}

// declares is how many fields have bit n, the least significant one of byte 0
// being 0.
func (l *layout) declares(n int) (fields int) {
	if l.big {
		n = n/8*8 + 7 - n%8
	}
	for _, f := range l.fields {
		if n >= f.first && n < f.first+f.width {
			fields++
		}
	}
	return fields
}

// TestOverlapIsFound shifts one field of a random layout: the file is refused
// exactly if the field then has a bit of another.
func TestOverlapIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLayout(t, true)
		moved := &l.fields[rapid.IntRange(0, len(l.fields)-1).Draw(t, "moved")]
		moved.first = rapid.IntRange(0, 64-moved.width).Draw(t, "to")
		shared := false
		for bit := range 64 {
			shared = shared || l.declares(bit) > 1
		}
		_, err := mapping.Load("random.yaml", []byte(l.text()), nil)
		if refused := err != nil && strings.Contains(err.Error(), "[overlap]"); refused != shared {
			t.Errorf("bits are shared: %t, reported: %v\n%s", shared, err, l.text())
		}
	})
}

// TestRegisterOrders puts a number into registers in each order of bytes and
// words, and has the file's example run both ways.
func TestRegisterOrders(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		registers := rapid.IntRange(1, 3).Draw(t, "registers")
		words := rapid.SliceOfN(rapid.Uint16(), registers, registers).Draw(t, "words, highest first")
		value := uint64(0)
		for _, w := range words {
			value = value<<16 | uint64(w)
		}
		lowFirst, little := rapid.Bool().Draw(t, "low first"), rapid.Bool().Draw(t, "little")
		hex := ""
		for i := range words {
			w := words[i]
			if lowFirst {
				w = words[registers-1-i]
			}
			if little {
				w = w<<8 | w>>8
			}
			hex += fmt.Sprintf("%04X", w)
		}
		text := fmt.Sprintf(`{packlink: 1, name: random, title: t, source: [{title: s}], bus: {registers: {table: input}},
byte_order: %s, word_order: %s, messages: [{name: m, read: {from: 7, count: %d},
fields: [{at: 0, as: u%d, is: cycles}], examples: [{hex: "%s", gives: {cycles: %d}, source: s}]}]}`,
			map[bool]string{true: "little", false: "big"}[little], map[bool]string{true: "low-first", false: "high-first"}[lowFirst],
			registers, 16*registers, hex, value)
		m, err := mapping.Load("random.yaml", []byte(text), nil)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		c, err := mapping.Compile(m)
		if err != nil {
			t.Fatal(err)
		}
		if err := decode.Verify(c, "random.yaml", []byte(text)).Err(); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
	})
}
