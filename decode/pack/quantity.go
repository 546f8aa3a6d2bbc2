package pack

// Kind is the shape of a quantity's value.
type Kind uint8

// The kinds of quantities.
const (
	Number  Kind = iota + 1 // one exact decimal
	Flag                    // true or false
	Word                    // text of at most MaxText bytes
	Numbers                 // one decimal per cell or sensor, counted from 1
	Flags                   // true or false per cell, counted from 1
)

// List tells whether the quantity has one value per cell or sensor.
func (k Kind) List() bool { return k == Numbers || k == Flags }

// Overdue says what becomes of a value whose message is overdue.
type Overdue uint8

// What becomes of an overdue value.
const (
	Marked   Overdue = iota // it stays in records that list it under "stale", and is withheld elsewhere
	Forbids                 // a permission: it becomes 0 A or "not allowed", everywhere
	Withheld                // a wish of the pack: it is dropped
)

// Quantity is one thing that can be known about a pack: an index into the
// catalogue.
type Quantity uint8

// The quantities, in the order of a record. Units, kinds and meanings stand in
// the catalogue.
const (
	Maker Quantity = iota
	Model
	Serial
	Firmware
	Hardware
	MadeOn
	Modules
	Packs
	PacksFresh

	Voltage
	Current
	Power

	SOC
	SOH
	Remaining
	Full
	Nominal
	RemainingEnergy
	NominalVoltage
	NominalEnergy
	Cycles
	TimeToFull
	TimeToEmpty

	Cells
	CellMax
	CellMaxAt
	CellMaxPack
	CellMin
	CellMinAt
	CellMinPack
	CellSpread
	Balancing

	Temp
	Temps
	TempMax
	TempMin
	TempSwitch
	TempAmbient

	ChargeVoltageLimit
	DischargeVoltageLimit
	ChargeCurrentLimit
	DischargeCurrentLimit
	ChargeAllowed
	DischargeAllowed
	FullChargeWanted
	ChargeNowWanted

	Count // how many quantities there are
)

// bankGroup is the group of the quantities that only a bank has: a pack's record
// never holds them.
const bankGroup = "bank"

// Row is a quantity's entry in the catalogue.
type Row struct {
	Key     string // the record's key; its ending is the unit
	Group   string // the heading it stands under in docs/quantities.md
	Kind    Kind
	Unit    string // V, A, W, Ah, Wh, %, degC, s, or "" for a count, a flag or text
	Max     int    // most elements of a list
	Overdue Overdue
	Doc     string // one sentence for docs and schema
}

// Row is the quantity's entry in the catalogue.
func (q Quantity) Row() *Row { return &catalogue[q] }

// String is the quantity's key.
func (q Quantity) String() string { return catalogue[q].Key }

var byKey = func() map[string]Quantity {
	m := make(map[string]Quantity, Count)
	for q := range Count {
		m[catalogue[q].Key] = q
	}
	return m
}()

// ByKey finds a quantity by its key.
func ByKey(key string) (Quantity, bool) {
	q, ok := byKey[key]
	return q, ok
}
