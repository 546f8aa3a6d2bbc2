package modbus

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestIdentityRefuses(t *testing.T) {
	for says, change := range map[string]func(*Identity){
		"object 0 is empty":                                func(id *Identity) { id.VendorName = "" },
		"object 1 is empty":                                func(id *Identity) { id.ProductCode = "" },
		"object 2 is empty":                                func(id *Identity) { id.MajorMinorRevision = "" },
		"object 4 has 245 bytes, and 244 is the most":      func(id *Identity) { id.ProductName = strings.Repeat("x", 245) },
		"object 5: byte 0xC3 at offset 1 is not printable": func(id *Identity) { id.ModelName = "Bätterie" },
		"object 6: byte 0x00 at offset 0 is not printable": func(id *Identity) { id.UserApplicationName = "\x00" },
	} {
		id := bench
		change(&id)
		if image, err := NewImage(id, nil); image != nil || err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("got %v, want an error that says %q", err, says)
		}
	}
}

// TestIdentityIsReadInFull reads drawn identities as a stream, part by part, and
// object by object: both give all there is, in responses that fit.
func TestIdentityIsReadInFull(t *testing.T) {
	text := rapid.StringMatching(`[ -~]{0,244}`)
	must := rapid.StringMatching(`[ -~]{1,244}`)
	rapid.Check(t, func(t *rapid.T) {
		objects := [...]string{must.Draw(t, "0"), must.Draw(t, "1"), must.Draw(t, "2"),
			text.Draw(t, "3"), text.Draw(t, "4"), text.Draw(t, "5"), text.Draw(t, "6")}
		image, err := NewImage(Identity{objects[0], objects[1], objects[2], objects[3], objects[4], objects[5], objects[6]}, nil)
		if err != nil {
			t.Fatal(err)
		}
		code := rapid.SampledFrom([]byte{1, 2, 3}).Draw(t, "code")
		streamed := readStream(t, image, code)
		for object, value := range objects {
			if asked := code > 1 || object < 3; streamed[object] != value && asked || streamed[object] != "" && !asked {
				t.Errorf("code %d: object %d is %q, want %q", code, object, streamed[object], value)
			}
			if got := readOne(t, image, byte(object)); got != value {
				t.Errorf("object %d alone is %q, want %q", object, got, value)
			}
		}
	})
}

// TestObjectThatJustFits: 7 bytes of header and 9 of basic objects leave 237 of
// 253 for the next, with its id and length.
func TestObjectThatJustFits(t *testing.T) {
	for length, want := range map[int]struct {
		size int
		more byte
	}{235: {253, 0x00}, 236: {16, 0xFF}} {
		image, err := NewImage(Identity{"V", "P", "1", strings.Repeat("u", length), "", "", ""}, nil)
		if err != nil {
			t.Fatal(err)
		}
		response := answer(image, []byte{0x2B, 0x0E, 2, 0}, nil)
		if len(response) != want.size || response[4] != want.more {
			t.Errorf("object of %d bytes: got % X", length, response)
		}
	}
}

// readStream follows a stream to its end.
func readStream(t *rapid.T, image *Image, code byte) (objects [7]string) {
	next := byte(0)
	for range len(objects) {
		response := answer(image, []byte{0x2B, 0x0E, code, next}, nil)
		if len(response) < 7 || len(response) > 253 || response[0] != 0x2B || response[2] != code {
			t.Fatalf("bad response % X", response)
		}
		rest := response[7:]
		for range response[6] {
			objects[rest[0]] = string(rest[2 : 2+rest[1]])
			rest = rest[2+rest[1]:]
		}
		if len(rest) != 0 {
			t.Fatalf("% X follow the last object", rest)
		}
		if response[4] == 0 && response[5] == 0 {
			return objects
		}
		if response[4] != 0xFF || response[5] <= next {
			t.Fatalf("more follows %02X, next object %d after %d", response[4], response[5], next)
		}
		next = response[5]
	}
	t.Fatalf("the stream does not end")
	return objects
}

// readOne reads one object; "" if the unit has none.
func readOne(t *rapid.T, image *Image, object byte) string {
	response := answer(image, []byte{0x2B, 0x0E, 4, object}, nil)
	if string(response) == "\xAB\x02" {
		return ""
	}
	if len(response) < 9 || string(response[4:8]) != string([]byte{0, 0, 1, object}) || len(response) != 9+int(response[8]) {
		t.Fatalf("bad response % X", response)
	}
	return string(response[9:])
}

// TestConformityFollowsTheObjects: one optional object makes the conformity regular,
// for a stream and for single objects (82 instead of 81; MODBUS Application Protocol
// V1.1b3, section 6.21).
func TestConformityFollowsTheObjects(t *testing.T) {
	for object := range 7 {
		values := [7]string{"v", "p", "r"}
		values[object] = "x"
		image, err := NewImage(Identity{values[0], values[1], values[2], values[3], values[4], values[5], values[6]}, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := byte(0x81)
		if object > 2 {
			want = 0x82
		}
		if got := answer(image, []byte{0x2B, 0x0E, 1, 0}, nil)[3]; got != want {
			t.Errorf("with object %d the conformity is %02X, want %02X", object, got, want)
		}
	}
}
