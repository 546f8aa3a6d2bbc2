package checksum

import "testing"

// The sums over "123456789", computed by hand: its full sum is 0x1DD. The check
// value of Modbus ASCII, an LRC, is the negated sum of 8 bits.
func TestSums(t *testing.T) {
	for _, c := range []struct {
		sum  Sum
		bits int
		want uint64
	}{
		{Plain, 8, 0xDD}, {Negated, 8, 0x23}, {Inverted, 8, 0x22}, {Xor, 8, 0x31}, {Plain, 16, 0x01DD}, {Negated, 16, 0xFE23},
	} {
		if got := c.sum.Of([]byte("123456789"), c.bits); got != c.want {
			t.Errorf("sum %d of %d bits: got %#X, want %#X", c.sum, c.bits, got, c.want)
		}
	}
}

// MODBUS over Serial Line V1.02, section 6.2.1, LRC: F7 03 13 89 00 0A has the
// LRC 60, a value that circulates as the test vector of several Modbus libraries;
// 11 03 00 6B 00 03 of section 6.3 of the Application Protocol V1.1b3 has 7E.
func TestModbusLRC(t *testing.T) {
	if got := Negated.Of([]byte{0xF7, 0x03, 0x13, 0x89, 0x00, 0x0A}, 8); got != 0x60 {
		t.Errorf("got %#X, want 0x60", got)
	}
	if got := Negated.Of([]byte{0x11, 0x03, 0x00, 0x6B, 0x00, 0x03}, 8); got != 0x7E {
		t.Errorf("got %#X, want 0x7E", got)
	}
}
