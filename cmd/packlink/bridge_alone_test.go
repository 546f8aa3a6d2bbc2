package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"packlink/fixtures/beside"
)

// TestOnePortUnderTwoNames refuses a serial port that is named twice, by its own name, by a
// link as those under /dev/serial/by-id or by a relative path, and takes two that are two.
func TestOnePortUnderTwoNames(t *testing.T) {
	folder := t.TempDir()
	port, link, other := filepath.Join(folder, "port"), filepath.Join(folder, "by-id"), filepath.Join(folder, "other")
	for _, path := range []string{port, other} {
		if err := os.WriteFile(path, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(port, link); err != nil {
		beside.Missing(t, "no symbolic links here: ", err)
	}
	t.Chdir(folder)
	both := func(what string) string { return what + port + ", which is also " + link }
	const left = `sources: [{name: left, from: "serial:PORT", mapping: uart-dd77}`
	for name, c := range map[string]struct{ config, says string }{
		"a source and answers": {left + `]
outputs: [{to: "serial:LINK", mapping: uart-dd77, transmit: true}]`, both("source left has ") + ": an output needs a bus of its own"},
		"a source and registers": {left + `]
outputs: [{to: "modbus-rtu:LINK", mapping: sunspec-battery, transmit: true}]`, both("source left has ") + ": an output needs a bus of its own"},
		"a source and an adapter": {left + `]
outputs: [{to: "slcan:LINK", mapping: homebrew-can, transmit: true}]`, both("source left has ") + ": an output needs a bus of its own"},
		"two outputs": {`sources: [{name: left, from: "can:can0", mapping: homebrew-can}]
outputs: [{to: "modbus-rtu:PORT", mapping: sunspec-battery, transmit: true}, {to: "serial:LINK", mapping: uart-dd77, transmit: true}]`,
			both("two outputs listen on ")},
		"two sources": {left + `, {name: right, from: "slcan:LINK", mapping: homebrew-can}]
outputs: [{to: "stdout:"}]`, both("sources left and right have one port, ") + ": only one of them can open it"},
		"two sources by one name": {left + `, {name: right, from: "serial:PORT?baud=1200", mapping: uart-a5}]
outputs: [{to: "stdout:"}]`, "sources left and right have one port, " + port + ": only one of them can open it"},
		"a relative name": {left + `]
outputs: [{to: "serial:port", mapping: uart-dd77, transmit: true}]`, "source left has " + port + ", which is also port: an output"},
		"two relative names of a port that is not there": {`sources: [{name: left, from: "serial:gone", mapping: uart-dd77}]
outputs: [{to: "serial:./gone", mapping: uart-dd77, transmit: true}]`, "source left has gone, which is also ./gone: an output"},
		"a source and another port": {left + `]
outputs: [{to: "serial:OTHER", mapping: uart-dd77, transmit: true}]`, ""},
		"a link that leads nowhere": {left + `]
outputs: [{to: "serial:OTHER/gone", mapping: uart-dd77, transmit: true}, {to: "modbus-rtu:LINK/gone", mapping: sunspec-battery, transmit: true}]`, ""},
		"two sources on one CAN bus": {`sources: [{name: left, from: "can:can0", mapping: homebrew-can}, {name: right, from: "can:can0", mapping: storage-can-35x}]
outputs: [{to: "stdout:"}]`, ""},
	} {
		path := filepath.Join(folder, "bridge.yaml")
		config := strings.NewReplacer("PORT", port, "LINK", link, "OTHER", other).Replace(c.config)
		if err := os.WriteFile(path, []byte(config), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := loadPlan(path)
		switch {
		case c.says == "" && err != nil:
			t.Errorf("%s: %v", name, err)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s: got %v, want %q", name, err, c.says)
		}
	}
}
