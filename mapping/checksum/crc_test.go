package checksum

import (
	"encoding/json"
	"hash/crc32"
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"packlink/fixtures/beside"
)

// The check values over "123456789" of the RevEng catalogue of parametrised
// CRC algorithms, 4 August 2023.
var published = map[string]uint64{
	"CRC-16/MODBUS": 0x4B37, "CRC-16/XMODEM": 0x31C3, "CRC-16/IBM-3740": 0x29B1, "CRC-16/KERMIT": 0x2189,
	"CRC-16/IBM-SDLC": 0x906E, "CRC-16/GENIBUS": 0xD64E, "CRC-16/ARC": 0xBB3D, "CRC-16/USB": 0xB4C8,
	"CRC-16/DNP": 0xEA82, "CRC-8/SMBUS": 0xF4, "CRC-8/MAXIM-DOW": 0xA1, "CRC-8/SAE-J1850": 0x4B,
	"CRC-8/AUTOSAR": 0xDF, "CRC-15/CAN": 0x059E, "CRC-32/ISO-HDLC": 0xCBF43926, "CRC-32/ISCSI": 0xE3069283,
}

func TestPublishedChecks(t *testing.T) {
	if len(published) != len(Catalogue) {
		t.Fatalf("%d CRCs have %d published checks", len(Catalogue), len(published))
	}
	for _, c := range Catalogue {
		if got := c.Table().Sum([]byte("123456789")); got != published[c.Name] {
			t.Errorf("%s: got %#X, want %#X", c.Name, got, published[c.Name])
		}
	}
}

// The specification's own example: MODBUS over Serial Line V1.02, section
// 6.2.2: the frame 02 07 has the register value 1241 hex.
func TestModbusSerialLineExample(t *testing.T) {
	if got := Catalogue[0].Table().Sum([]byte{0x02, 0x07}); got != 0x1241 {
		t.Errorf("got %#X, want 0x1241", got)
	}
}

// Further vectors (empty, 00, FF, 00 to FF), computed with an independent
// bitwise implementation.
func TestSharedVectors(t *testing.T) {
	data, err := os.ReadFile("../../../shared/standards/vectors/crc_checks.json")
	if err != nil {
		beside.Missing(t, "the shared check values are not here: ", err)
	}
	var file struct {
		CRC map[string]struct {
			Extra map[string]string
		}
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	inputs := map[string][]byte{"empty": nil, "00": {0}, "FF": {0xFF}, "0001..FE FF(256)": all}
	compared := 0
	for _, c := range Catalogue {
		for name, text := range file.CRC[c.Name].Extra {
			want, err := strconv.ParseUint(text, 0, 64)
			if err != nil {
				t.Fatal(err)
			}
			compared++
			if got := c.Table().Sum(inputs[name]); got != want {
				t.Errorf("%s of %s: got %#X, want %#X", c.Name, name, got, want)
			}
		}
	}
	if compared != 4*len(Catalogue) {
		t.Errorf("compared %d vectors, want %d", compared, 4*len(Catalogue))
	}
}

// The standard library computes two of them.
func TestAgainstStandardLibrary(t *testing.T) {
	tables := make(map[string]*Table)
	for _, c := range Catalogue {
		tables[c.Name] = c.Table()
	}
	castagnoli := crc32.MakeTable(crc32.Castagnoli)
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOf(rapid.Byte()).Draw(t, "data")
		if got, want := tables["CRC-32/ISO-HDLC"].Sum(data), uint64(crc32.ChecksumIEEE(data)); got != want {
			t.Fatalf("CRC-32: got %#X, want %#X", got, want)
		}
		if got, want := tables["CRC-32/ISCSI"].Sum(data), uint64(crc32.Checksum(data, castagnoli)); got != want {
			t.Fatalf("CRC-32C: got %#X, want %#X", got, want)
		}
	})
}

func BenchmarkModbus(b *testing.B) {
	t := Catalogue[0].Table()
	frame := make([]byte, 255)
	b.SetBytes(int64(len(frame)))
	for b.Loop() {
		t.Sum(frame)
	}
}
