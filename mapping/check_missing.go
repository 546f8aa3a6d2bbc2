package mapping

import (
	"math"
	"slices"

	"packlink/mapping/document"
)

// missing tells whether a raw value means "not available".
func (f *Field) missing(raw uint64) bool {
	return slices.ContainsFunc(f.Missing, func(r Raws) bool { return r.Holds(raw) })
}

// unread notes raw values that stand for something although they mean "not
// available": they would never be read so. It notes too if all of them mean that.
func (c *checker) unread(f *Field) {
	if all := apart(f.Missing); len(all) == 1 && all[0] == (Raws{0, math.MaxUint64 >> (64 - min(f.Type.Bits, 64))}) {
		c.Report(at(f.Place, "missing"), RuleMeaning, "every raw value of %s means \"not available\", so there would never be a value", f.Type.Name)
	}
	for _, key := range []string{"values", alarmsKey} {
		n := f.Place.Get(key)
		if n == nil || f.Type.Base != Unsigned && f.Type.Base != Signed {
			continue
		}
		for _, p := range n.Pairs {
			raw, err := document.ParseBits(p.Key.Text, f.Type.Bits)
			if err == nil && f.missing(raw) {
				c.Report(p.Key, RuleMeaning, "%#x means \"not available\" (missing), so it would never be read as this", raw)
			}
		}
	}
	if len(f.Alarms) > 0 && f.Type.Base == Unsigned && f.missing(f.Off) {
		c.Report(at(f.Place, "off"), RuleMeaning, "%#x is the code for no alarm, and cannot mean \"not available\" (missing) too", f.Off)
	}
}
