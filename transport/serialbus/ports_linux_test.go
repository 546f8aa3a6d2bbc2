package serialbus

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// plant makes a tree of files and links; a text that begins with -> is a link.
func plant(t *testing.T, root string, files map[string]string) {
	t.Helper()
	for path, text := range files {
		path = filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		var err error
		if len(text) > 2 && text[:2] == "->" {
			err = os.Symlink(text[2:], path)
		} else {
			err = os.WriteFile(path, []byte(text+"\n"), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// TestPortsOfATree has the files that the kernel shows for two USB adapters of
// different drivers, a port of the board, a name without a chip behind it, and terminals
// (layout from memory of Linux, Documentation/ABI/stable/sysfs-bus-usb).
func TestPortsOfATree(t *testing.T) {
	root := t.TempDir()
	const usb = "sys/devices/pci0000:00/0000:00:14.0/usb1"
	plant(t, root, map[string]string{
		usb + "/idVendor":                         "f0f0", // the hub above both
		usb + "/1-1/idVendor":                     "f0f1",
		usb + "/1-1/idProduct":                    "0a01",
		usb + "/1-1/serial":                       "X0001",
		usb + "/1-1/product":                      "RS-485 adapter",
		usb + "/1-1/manufacturer":                 "Example Works",
		usb + "/1-1/1-1:1.0/ttyUSB10/port_number": "0",
		usb + "/1-2/idVendor":                     "f0f2",
		usb + "/1-2/idProduct":                    "0b02",
		usb + "/1-2/1-2:1.0/bInterfaceNumber":     "00",
		"sys/devices/platform/serial8250/uevent":  "",
		"sys/class/tty/ttyUSB10/device":           "->../../../../" + usb + "/1-1/1-1:1.0/ttyUSB10",
		"sys/class/tty/ttyACM2/device":            "->../../../../" + usb + "/1-2/1-2:1.0",
		"sys/class/tty/ttyS0/device":              "->../../../devices/platform/serial8250",
		"sys/class/tty/ttyS0/type":                "4",
		"sys/class/tty/ttyS1/device":              "->../../../devices/platform/serial8250",
		"sys/class/tty/ttyS1/type":                "0",
		"sys/class/tty/ttyGone/device":            "->../../../devices/gone",
		"sys/class/tty/tty7/dev":                  "4:7",
		"dev/serial/by-id/usb-Example_Works_RS-485_adapter_X0001-if00-port0": "->../../ttyUSB10",
		"dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0":              "->../../ttyUSB10",
		"dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0":                    "->../../ttyACM2",
	})
	want := []Port{
		{Path: "/dev/ttyS0"},
		{Path: "/dev/ttyACM2", Stable: "/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0", VendorID: "f0f2", ProductID: "0b02"},
		{
			Path: "/dev/ttyUSB10", Stable: "/dev/serial/by-id/usb-Example_Works_RS-485_adapter_X0001-if00-port0",
			VendorID: "f0f1", ProductID: "0a01", SerialNumber: "X0001", Manufacturer: "Example Works", Product: "RS-485 adapter",
		},
	}
	got, err := portsBelow(root)
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Errorf("%v\n%s", err, diff)
	}
}

func TestPortsOfAnEmptyTree(t *testing.T) {
	if got, err := portsBelow(t.TempDir()); len(got) != 0 || err != nil {
		t.Errorf("got %v, %v", got, err)
	}
	root := t.TempDir()
	plant(t, root, map[string]string{"sys/class/tty": "not a folder"})
	if got, err := portsBelow(root); err == nil {
		t.Errorf("got %v and no error", got)
	}
}

func TestPortsOfThisMachine(t *testing.T) {
	ports, err := Ports()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range ports {
		if _, err := os.Stat(filepath.Join("/sys/class/tty", filepath.Base(p.Path))); err != nil {
			t.Errorf("%+v: %v", p, err)
		}
	}
}
