package library_test

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
)

// TestHomebrewDocument holds docs/homebrew.md against the mapping: each register
// stands in the table with its key, its type and its step, and each alarm at its
// bit.
func TestHomebrewDocument(t *testing.T) {
	data, err := os.ReadFile("../../docs/homebrew.md")
	if err != nil {
		t.Fatal(err)
	}
	m, err := library.Load("homebrew-modbus")
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for _, msg := range m.Messages {
		for i := range msg.Fields {
			f := &msg.Fields[i]
			if f.Target != nil {
				holdRow(t, text, msg.Read.From+f.At, f)
			}
			for _, a := range f.Alarms {
				holdAlarm(t, text, a)
			}
		}
	}
}

// steps are a scale and a unit as the document writes them.
var steps = map[string]string{
	"0.01 V": "10 mV", "0.001 V": "1 mV", "0.1 V": "100 mV", "0.1 A": "100 mA", "0.1 %": "0.1 %", "0.1 Ah": "0.1 Ah", "0.1 degC": "0.1 degC", "1 ": "1",
}

func holdRow(t *testing.T, text string, register int, f *mapping.Field) {
	t.Helper()
	row := regexp.MustCompile(fmt.Sprintf("(?m)^\\| %d(?:,| to [0-9]+|) ?.*`%s`.*$", register, f.Target.Quantity)).FindString(text)
	if row == "" {
		t.Errorf("register %d is not in the table as %s", register, f.Target.Quantity)
		return
	}
	if f.Type.Base != mapping.Unsigned && f.Type.Base != mapping.Signed || f.Type.Bits < 16 {
		return
	}
	if !strings.Contains(row, "| "+f.Type.Name+" |") {
		t.Errorf("register %d is %s, but its row says %s", register, f.Type.Name, row)
	}
	step := steps[f.Scale.String()+" "+f.Target.Quantity.Row().Unit]
	if step == "" || !strings.Contains(row, "| "+step) {
		t.Errorf("register %d is in steps of %q, but its row says %s", register, step, row)
	}
}

func holdAlarm(t *testing.T, text string, a mapping.AlarmSlot) {
	t.Helper()
	kind := pack.AlarmKinds()[a.Alarm.Kind]
	if !regexp.MustCompile(fmt.Sprintf("[ \n]%d `%s`", a.Slot, kind)).MatchString(text) {
		t.Errorf("bit %d is not documented as %s", a.Slot, kind)
	}
}
