package mapping_test

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"packlink/mapping"
	"packlink/mapping/library"
)

// shown is a mapping's table, with every run of blanks as one.
func shown(t *testing.T, m *mapping.Mapping) string {
	t.Helper()
	var b strings.Builder
	if err := m.WriteTable(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	for i, line := range lines {
		lines[i] = strings.Join(strings.Fields(line), " ")
	}
	return strings.Join(lines, "\n")
}

// TestTableShowsEverything holds that each message of the built-in mappings,
// and each of its fields, quantities, names and alarms, stands in the table.
func TestTableShowsEverything(t *testing.T) {
	for _, name := range library.Names() {
		m, err := library.Load(name)
		if err != nil {
			t.Fatal(err)
		}
		table := shown(t, m)
		for _, msg := range m.Messages {
			fields := msg.Fields
			if msg.Each != nil {
				fields = append(fields, msg.Each.Fields...)
			}
			for _, f := range fields {
				checkShown(t, table, &f)
			}
			if !strings.Contains(table, msg.Name) {
				t.Errorf("%s: message %q is not shown", name, msg.Name)
			}
		}
	}
}

func checkShown(t *testing.T, table string, f *mapping.Field) {
	t.Helper()
	subject := "alarms"
	switch {
	case f.Address:
		subject = "address"
	case f.Equals != nil:
		subject = fmt.Sprintf("always %X", f.Equals.Raw)
	case f.Let != "":
		subject = "(" + f.Let + ")"
	case f.Target != nil:
		subject = f.Target.Quantity.String()
	}
	if !strings.Contains(table, f.Type.Name+" "+subject) {
		t.Errorf("%s %s is not shown", f.Type.Name, subject)
	}
	for _, a := range f.Alarms {
		if !strings.Contains(table, a.Alarm.String()) {
			t.Errorf("alarm %v is not shown", a.Alarm)
		}
	}
}

// TestTableLines holds how the constructs of the format are shown.
func TestTableLines(t *testing.T) {
	for file, lines := range map[string][]string{
		"byte-order-big":     {"byte 0 u16 voltage_v x 0.01, V, big byte order", "byte 5 u16 cycles little byte order"},
		"bits-in-a-byte":     {"byte 0, bit 3 u4 cell_max_at"},
		"fast-packet":        {"PGN 127506 (1F212), from the pack's source address, by fast-packet detailed status, every 1.5s, overdue after 4.5s"},
		"iso-tp":             {"7E8, by iso-tp identity", "asked for by 7E0: 22 F1 90", "asked for by 7E0: 22 01 5B, every 5s"},
		"ask":                {"580 (address in bits 0 to 6) voltage, every 1s, overdue after 3s", "asked for by 600 (address in bits 0 to 6): 40 60 60 00 00 00 00 00, every 1s"},
		"sign":               {"byte 0 u16 current_a x -0.1, + 3000, A, on the wire higher is towards discharging, little byte order", "byte 2 i16 power_w W, on the wire positive is charging, little byte order"},
		"bits-little":        {"byte 1, bit 4 u12 cycles little byte order, in byte 1 bits 4 to 7 and byte 2"},
		"scale-and-offset":   {"byte 0 u16 temp_c - 273.15, degC, little byte order"},
		"range":              {"byte 2 i8 temp_c degC, plausible -40 to 120"},
		"missing":            {"byte 0 u16 soc_pct %, FFFF: not available, FFFE: not available, little byte order"},
		"alarm-flags":        {"9 pack_undervoltage warning", "9 cell_undervoltage warning"},
		"flags":              {"byte 1 u8 full_charge_wanted 170: true, 0: false, 85: false"},
		"list":               {"byte 0 u16 cells_v[5] to [8], each 2 on x 0.001, V, 0: not available, little byte order"},
		"list-counted":       {"byte 0 u8 (sensors) plausible 0 to 4", "byte 1 u8 temps_c[1] and on, sensors times, each 1 on - 40, degC, FF: not available"},
		"balancing":          {"byte 0, bit 0 flags12 balancing[1] to [12], a bit each little byte order"},
		"let":                {"byte 3 u8 (version) else written as 12"},
		"optional":           {"355 charge, every 1s, overdue after 3s", "byte 2 u16 soh_pct %, may be left off, little byte order"},
		"by-reader":          {"305 keep-alive, sent to the pack, every 1s, overdue after 10s"},
		"address-29":         {"18FF0040 (address in bits 8 to 15) values", "040 packs"},
		"options":            {"option current: which sign of the current is charging: charge-positive or discharge-positive (now charge-positive)"},
		"registers-fixed":    {"registers 100 to 102 fast, every 1s, overdue after 3s", "register 102, bit 8 u8 soc_pct %"},
		"word-orders":        {"register 2 u32 remaining_wh Wh, low word first", "register 6 u32 time_to_empty_s s, little byte order, high word first"},
		"scale-by":           {"model 802, 6 registers values", "register 2 u16 voltage_v x 10^V_SF, V, FFFF: not available", "register 4 i16 (V_SF) 8000: not available, else written as FFFE"},
		"each-pack":          {"from register 4 on, for each pack, 2 registers:"},
		"notation":           {"source: invented for this example, section 4.2", "A text of several lines, which becomes one."},
		"equals":             {"byte 0 u8 always 1", "byte 0 u8 always 2"},
		"address-in-payload": {"PGN 65281 (0FF01) charge, every 1s, overdue after 3s", "byte 0 u8 address"},
		"any":                {"18FF0023 (address in bits 8 to 15) (any bits 1C0000FF) values", "350 (any bits F) short ids"},
		"alarm-codes":        {"byte 5 u8 alarms, cells times, each 1 on 0: none, FF: not available", "other other warning", "byte 9, bit 4 u4 alarms 15: none, may be left off"},
		"list-in-parts":      {"byte 7 u8 temps_c[1] to [1], each 1 on - 40, degC, FF: not available, part part of 1 to 4"},
		"list-after-list":    {"byte 1 after cells u16 temps_c[1] and on, sensors times, each 2 on x 0.1, - 273.1, degC, little byte order"},
		"when":               {"byte 1 i16 current_a x 0.1, A, on the wire positive is charging, when kind is [2 3], little byte order"},
		"alarm-pairs-states": {"byte 0, bit 0 pairs4 alarms 11: on, 00: off"},
	} {
		m, err := library.Load("../fixtures/mapping/good/" + file + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		table := "\n" + shown(t, m) + "\n"
		for _, line := range lines {
			if !strings.Contains(table, "\n"+line+"\n") {
				t.Errorf("%s does not show %q:\n%s", file, line, table)
			}
		}
	}
}

// TestTableReportsWriteErrors holds that a full disk is no success.
func TestTableReportsWriteErrors(t *testing.T) {
	m, err := library.Load("storage-can-35x")
	if err != nil {
		t.Fatal(err)
	}
	if err := m.WriteTable(refusing{}); !errors.Is(err, os.ErrClosed) {
		t.Errorf("got %v", err)
	}
}

type refusing struct{}

func (refusing) Write([]byte) (int, error) { return 0, os.ErrClosed }

// TestTableShowsFrames holds that the parts of frames, and questions, are shown,
// which way a current is positive, and registers by their own numbers.
func TestTableShowsFrames(t *testing.T) {
	for name, wants := range map[string][]string{
		"uart-dd77": {
			"a frame is start DD, kind (1), status (1), size (1), data, check (2), end 77",
			"frame with kind 0x03, status 0x00, asked by kind 0xA5, status 0x03 basics, every 1s, overdue after 3s",
		},
		"uart-a5":           {"asked by address 0x40, id 0x90, data 00 00 00 00 00 00 00 00 terminals"},
		"marrowfen-mf16":    {"i16 current_a x -0.1, A, on the wire positive is discharging", "register 64 text16 serial"},
		"telecom-ascii-hex": {"frame with device 0x46, command 0x00, asked by device 0x46, command 0x42, data address analogue values"},
	} {
		m, err := library.Load(name)
		if err != nil {
			t.Fatal(err)
		}
		table := shown(t, m)
		for _, want := range wants {
			if !strings.Contains(table, want) {
				t.Errorf("%s: %q is not shown:\n%s", name, want, table)
			}
		}
	}
}

// TestTableShowsPieces shows which piece of a text a field is, and what fills a
// text up.
func TestTableShowsPieces(t *testing.T) {
	for file, want := range map[string]string{
		"text-in-pieces": "byte 10 text4 serial[9]",
		"text-padded":    "byte 0 text6 maker filled up with blanks",
	} {
		m, err := mapping.Load(file, read(t, "../fixtures/mapping/good/"+file+".yaml"), nil)
		if err != nil {
			t.Fatal(err)
		}
		if table := shown(t, m); !strings.Contains(table, want) {
			t.Errorf("%s: the table does not show %q:\n%s", file, want, table)
		}
	}
}
