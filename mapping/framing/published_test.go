package framing

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"packlink/fixtures/beside"
	"packlink/mapping/checksum"
)

// published reads check values that are not part of the project.
func published(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../../shared/standards/vectors/" + name)
	if err != nil {
		beside.Missing(t, "the shared check values are not here: ", err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

// telecomFrames are the check values for frames of the YD/T 1363.3 family: the
// arithmetic of LENGTH and CHKSUM on which many public implementations agree,
// computed and worked by hand. The standard itself was not available.
type telecomFrames struct {
	Lengths map[string]string `json:"length_table"`
	Example struct {
		String  string
		Chksum  string
		Corrupt struct {
			String      string
			TrueChksum  string `json:"true_chksum"`
			MisprintsAs string `json:"misprinted_as"`
		} `json:"corrupted_copy"`
	} `json:"published_example"`
	Frames []struct {
		Name string
		Args []any
		Text string `json:"frame_text"`
		Hex  string `json:"frame_hex"`
		Size int    `json:"total_bytes"`
	}
}

func TestTelecomLengthTable(t *testing.T) {
	var file telecomFrames
	published(t, "asciihex_frames.json", &file)
	f := telecom().Compile()
	length := f.Parts[f.length]
	for characters, want := range file.Lengths {
		var n int
		fmt.Sscan(characters, &n)
		// A length of the table may count half a byte, which no frame has: the guard
		// alone is compared then.
		got := uint64(n) | guard(uint64(n), 12)<<12
		if fmt.Sprintf("%04X", got) != want {
			t.Errorf("%d characters: %04X, want %s", n, got, want)
		}
		if whole, ok := f.lengthOf(&length, n/2); n%2 == 0 && (!ok || whole != got) {
			t.Errorf("%d characters: the frame says %04X", n, whole)
		}
	}
	if len(file.Lengths) < 20 {
		t.Errorf("only %d lengths are compared", len(file.Lengths))
	}
}

func TestTelecomFrames(t *testing.T) {
	var file telecomFrames
	published(t, "asciihex_frames.json", &file)
	f := telecom().Compile()
	for _, c := range file.Frames {
		var values [MaxParts]uint64
		for i, arg := range c.Args[:4] {
			switch v := arg.(type) {
			case float64:
				values[1+i] = uint64(v)
			case string:
				fmt.Sscanf(v, "%x", &values[1+i])
			}
		}
		data, _ := hex.DecodeString(c.Args[4].(string))
		got, err := f.Append(nil, &values, data)
		if err != nil || !strings.EqualFold(hex.EncodeToString(got), c.Hex) || len(got) != c.Size {
			t.Errorf("%s: built as %q, %v, want %s", c.Name, got, err, c.Text)
		}
		frames, counts := heard(f, got)
		if len(frames) != 1 || counts != (Counts{}) {
			t.Errorf("%s: heard as %d frames, %+v", c.Name, len(frames), counts)
		}
	}
	if len(file.Frames) < 7 {
		t.Errorf("only %d frames are compared", len(file.Frames))
	}
}

// TestTelecomWorkedExample takes the worked example that circulates with the
// standard, whose CHKSUM is FC72, and its widespread miscopy, which still prints
// FC72 where FC71 would be right. Its length is not part of it, so a layout
// without one is used.
func TestTelecomWorkedExample(t *testing.T) {
	f := Layout{Coding: ASCIIHex, Parts: []Part{
		{Name: "start", Role: Constant, Size: 1, Bytes: []byte{'~'}},
		{Name: "data", Role: Data, Most: 100},
		{Name: "check", Role: Check, Size: 2, From: 1, To: 1, Sum: checksum.Negated, Characters: true},
		{Name: "end", Role: Constant, Size: 1, Bytes: []byte{'\r'}},
	}}.Compile()
	for text, want := range map[string]Counts{
		"~1203400456ABCDFEFC72\r": {},
		"~1203400456ABCEFEFC72\r": {BadChecksum: 1},
		"~1203400456ABCEFEFC71\r": {},
		"~1203400456abcdfeFC72\r": {Half: 1, Noise: 10},
	} {
		frames, counts := heard(f, []byte(text))
		if counts.BadChecksum != want.BadChecksum || (len(frames) == 1) != (want == Counts{}) {
			t.Errorf("%q: %d frames, %+v, want %+v", text, len(frames), counts, want)
		}
	}
}

// TestTelecomSwappedCharacters holds what the sum cannot see: two hand-worked
// questions that have the same CHKSUM FD32 are different frames.
func TestTelecomSwappedCharacters(t *testing.T) {
	f := telecom().Compile()
	frames, _ := heard(f, []byte("~21024642E00202FD32\r~21014644E00201FD32\r"))
	if len(frames) != 2 {
		t.Fatalf("%d frames", len(frames))
	}
	var first, second [MaxParts]uint64
	f.Values(frames[0], &first)
	f.Values(frames[1], &second)
	if first[2] != 2 || second[2] != 1 || first[4] != 0x42 || second[4] != 0x44 {
		t.Errorf("read as %X and %X", first, second)
	}
}

// TestModbusASCII takes frames of MODBUS over Serial Line V1.02, section 2.5.2:
// the worked request of the Application Protocol V1.1b3, section 6.3, for unit
// 11 hex, and one that circulates as a test vector of several libraries.
func TestModbusASCII(t *testing.T) {
	f := layouts["modbus-ascii"].Compile()
	for _, text := range []string{":1103006B00037E\r\n", ":F7031389000A60\r\n"} {
		frames, counts := heard(f, []byte(text))
		if len(frames) != 1 || counts != (Counts{}) {
			t.Fatalf("%q: %d frames, %+v", text, len(frames), counts)
		}
		var values [MaxParts]uint64
		f.Values(frames[0], &values)
		if built, err := f.Append(nil, &values, f.Data(frames[0])); err != nil || string(built) != text {
			t.Errorf("%q is built as %q, %v", text, built, err)
		}
	}
}

// TestHDLC holds the frame check sequence of RFC 1662, appendix C.2, whose final
// value over a sound frame and its FCS is F0B8 hex: that of CRC-16/IBM-SDLC
// before its last step.
func TestHDLC(t *testing.T) {
	table := crc("CRC-16/IBM-SDLC")
	body := []byte("123456789")
	sum := table.Sum(body) // 906E by the RevEng catalogue
	if sum != 0x906E || table.Sum(append(body, byte(sum), byte(sum>>8)))^0xFFFF != 0xF0B8 {
		t.Errorf("the check sequence is %04X", sum)
	}
}
