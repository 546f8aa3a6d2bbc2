package serialbus

// Port is a serial port of this machine. What is not known is empty.
type Port struct {
	Path         string // what an endpoint calls it now: /dev/ttyUSB0, COM3
	Stable       string // a path that stays the same when it is plugged in again: /dev/serial/by-id/...
	VendorID     string // of a USB adapter: four hexadecimal digits, in lower case
	ProductID    string // the same
	SerialNumber string
	Manufacturer string
	Product      string
}
