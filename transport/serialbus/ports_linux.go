package serialbus

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Ports lists the serial ports of this machine, ordered by path. It opens none of
// them. A machine without any has an empty list.
func Ports() ([]Port, error) { return portsBelow("/") }

// portsBelow lists the ports by what the kernel shows in sys/class/tty: a terminal
// with hardware behind it has a link named device. The library's own list would
// open the ports of the board to see whether they are real, and so disturb them.
func portsBelow(root string) ([]Port, error) {
	class := filepath.Join(root, "sys/class/tty")
	entries, err := os.ReadDir(class)
	if err != nil && !os.IsNotExist(err) {
		return nil, fmt.Errorf("the serial ports cannot be listed: %w", err)
	}
	stable := stablePaths(root)
	var ports []Port
	for _, e := range entries {
		device, err := filepath.EvalSymlinks(filepath.Join(class, e.Name(), "device"))
		if err != nil || placeholder(filepath.Join(class, e.Name())) {
			continue
		}
		p := Port{Path: "/dev/" + e.Name(), Stable: stable[e.Name()]}
		if adapter := usbDevice(root, device); adapter != "" {
			p.describe(adapter)
		}
		ports = append(ports, p)
	}
	slices.SortFunc(ports, func(a, b Port) int {
		return cmp.Or(cmp.Compare(len(a.Path), len(b.Path)), strings.Compare(a.Path, b.Path))
	})
	return ports, nil
}

// placeholder tells whether a port of the board is a name without a chip: its
// type is 0 then, "unknown" (Linux, include/uapi/linux/serial.h, PORT_UNKNOWN).
func placeholder(class string) bool { return attribute(class, "type") == "0" }

// usbDevice is the folder of the USB device that a port belongs to, which is the
// nearest above it that has a vendor; empty if there is none.
func usbDevice(root, device string) string {
	for dir := device; len(dir) > len(root); dir = filepath.Dir(dir) {
		if attribute(dir, "idVendor") != "" {
			return dir
		}
	}
	return ""
}

// describe reads the identity of a USB device (Linux, Documentation/ABI/stable/sysfs-bus-usb;
// from memory).
func (p *Port) describe(adapter string) {
	p.VendorID = attribute(adapter, "idVendor")
	p.ProductID = attribute(adapter, "idProduct")
	p.SerialNumber = attribute(adapter, "serial")
	p.Manufacturer = attribute(adapter, "manufacturer")
	p.Product = attribute(adapter, "product")
}

// attribute is the text of one of the kernel's files; empty if there is none.
func attribute(dir, name string) string {
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}

// stablePaths finds the paths that stay the same, by the port's name. The one by
// the adapter's identity is better than the one by the socket it is plugged into.
func stablePaths(root string) map[string]string {
	paths := map[string]string{}
	for _, folder := range []string{"dev/serial/by-id", "dev/serial/by-path"} {
		entries, err := os.ReadDir(filepath.Join(root, folder))
		if err != nil {
			continue
		}
		for _, e := range entries {
			target, err := os.Readlink(filepath.Join(root, folder, e.Name()))
			if err != nil {
				continue
			}
			if name := filepath.Base(target); paths[name] == "" {
				paths[name] = "/" + folder + "/" + e.Name()
			}
		}
	}
	return paths
}
