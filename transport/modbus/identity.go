package modbus

import "fmt"

// Identity is what a unit tells about itself by function 43/14 (section 6.21).
// The first three are the basic objects, which every unit must have; the others
// are the regular objects, and an empty one is absent. Each is printable ASCII
// of at most 244 bytes, the most that fits in one response.
type Identity struct {
	VendorName          string // object 0
	ProductCode         string // object 1
	MajorMinorRevision  string // object 2
	VendorURL           string // object 3
	ProductName         string // object 4
	ModelName           string // object 5
	UserApplicationName string // object 6
}

const (
	basicObjects   = 3
	regularObjects = 7 // with the basic ones
)

// identificationHeader is the length of what stands before the objects in a
// response: function, MEI type, code, conformity, more follows, next object,
// number of objects.
const identificationHeader = 7

// maxObject is the longest object value: each has its id and length before it.
const maxObject = MaxPDU - identificationHeader - 2

// identification is an Identity by object id, ready to be sent.
type identification struct {
	values     [regularObjects]string
	conformity byte
}

// The conformity levels of a unit whose objects can be read both as a stream
// and one by one (section 6.21).
const (
	conformityBasic   = 0x81
	conformityRegular = 0x82
)

// encode checks the identity and puts it in the order of the object ids.
func (id Identity) encode() (identification, error) {
	coded := identification{conformity: conformityBasic, values: [regularObjects]string{
		id.VendorName, id.ProductCode, id.MajorMinorRevision,
		id.VendorURL, id.ProductName, id.ModelName, id.UserApplicationName,
	}}
	for object, value := range coded.values {
		if err := checkObject(object, value); err != nil {
			return identification{}, err
		}
		if object >= basicObjects && value != "" {
			coded.conformity = conformityRegular
		}
	}
	return coded, nil
}

// checkObject refuses a value that cannot be sent as this object.
func checkObject(object int, value string) error {
	if value == "" && object < basicObjects {
		return fmt.Errorf("modbus identity: object %d is empty: vendor name, product code and revision are mandatory", object)
	}
	if len(value) > maxObject {
		return fmt.Errorf("modbus identity: object %d has %d bytes, and %d is the most", object, len(value), maxObject)
	}
	for i := range len(value) {
		if value[i] < ' ' || value[i] > '~' {
			return fmt.Errorf("modbus identity: object %d: byte 0x%02X at offset %d is not printable ascii", object, value[i], i)
		}
	}
	return nil
}

// has tells whether a unit has this object.
func (id *identification) has(object int) bool {
	return object < regularObjects && id.values[object] != ""
}
