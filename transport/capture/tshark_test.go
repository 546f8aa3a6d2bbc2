package capture

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"packlink/fixtures/beside"
	"packlink/transport"
)

// tsharkPath finds the independent reader. CI must have it.
func tsharkPath(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("tshark")
	if err == nil {
		return path
	}
	beside.Missing(t, "nothing is compared with tshark: ", err)
	return ""
}

// tshark gives the fields of every packet of a capture. It must not complain of
// anything but the user that it runs as.
func tshark(t *testing.T, data []byte, fields ...string) []string {
	t.Helper()
	program := tsharkPath(t)
	path := filepath.Join(t.TempDir(), "written.pcapng")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	arguments := []string{"-r", path, "-T", "fields", "-E", "separator=/s"}
	for _, field := range fields {
		arguments = append(arguments, "-e", field)
	}
	var out, complaints bytes.Buffer
	command := exec.Command(program, arguments...)
	command.Stdout, command.Stderr = &out, &complaints
	if err := command.Run(); err != nil {
		t.Fatalf("tshark: %v\n%s", err, complaints.Bytes())
	}
	for line := range strings.Lines(complaints.String()) {
		if !strings.Contains(line, "Running as user") {
			t.Errorf("tshark complains: %s", line)
		}
	}
	return strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
}

func TestTsharkReadsWhatIsWritten(t *testing.T) {
	buses := []Bus{{"can0", transport.CAN}, {"rs485", transport.Serial}}
	frames := []transport.Frame{
		{Time: 1780000000100000001, ID: 0x351, Medium: transport.CAN, Direction: transport.Received, Data: []byte{1, 2, 3, 4, 5, 6, 7, 8}},
		{Time: 1780000000100000002, ID: 0x18FEF7F3, Medium: transport.CAN, Direction: transport.Sent, Flags: transport.Extended | transport.Lost, Data: []byte{1, 2, 3}},
		{Time: 1780000000100000003, ID: 0x123, Medium: transport.CAN, Flags: transport.FD, Data: make([]byte, 12)},
		{Time: 1780000000100000004, ID: 0x7FF, Medium: transport.CAN, Flags: transport.Remote},
		{Time: 1780000000100000005, Channel: 1, Medium: transport.Serial, Direction: transport.Received, Data: []byte{1, 3, 6}},
		{Time: 1780000000100000006, Channel: 1, Medium: transport.Serial, Direction: transport.Sent, Flags: transport.Damaged, Data: []byte{7}},
	}
	got := tshark(t, writeAll(t, buses, frames...), "frame.number", "frame.time_epoch", "frame.interface_name", "frame.packet_flags_direction",
		"can.id", "can.flags.xtd", "can.len", "rtacser.eventtype", "rtacser.timestamp", "data.data", "_ws.malformed")
	want := []string{
		"1 1780000000.100000001 can0 0x00000001 849 0 8   0102030405060708 ",
		"2 1780000000.100000002 can0 0x00000002 419362803 1 3   010203 ",
		"3 1780000000.100000003 can0 0x00000000 291 0 12   000000000000000000000000 ",
		"4 1780000000.100000004 can0 0x00000000 2047 0 0    ",
		"5 1780000000.100000005 rs485 0x00000001    0x02 1780000000.100000000 010306 ",
		"6 1780000000.100000006 rs485 0x00000002    0x01 1780000000.100000000 07 ",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("tshark reads it differently:\n%s", diff)
	}
}

// TestTsharkReadsTheGoodVectors compares the times of every good pcapng vector,
// so that a vector cannot be good for this reader alone. Blocks that are no
// packets have no time.
func TestTsharkReadsTheGoodVectors(t *testing.T) {
	for _, v := range vectors(t) {
		if v.header["expect"] != "ok" || v.header["skipped"] != "" || v.header["unlike"] != "" || v.data[0] != 0x0A || v.data[1] != 0x0D {
			continue
		}
		t.Run(v.name, func(t *testing.T) {
			var want []string
			for _, frame := range v.frames {
				var ns int64
				fmt.Sscan(frame, &ns)
				want = append(want, fmt.Sprintf("%d.%09d", ns/1e9, ns%1e9))
			}
			got := slices.DeleteFunc(tshark(t, v.data, "frame.time_epoch"), func(line string) bool { return line == "" })
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("tshark reads other times:\n%s", diff)
			}
		})
	}
}
