package decode

import "packlink/mapping"

// lets are the values of a message's named fields.
type lets struct {
	values [mapping.MaxLets]int64
	known  uint64
}

// get is the value of a named field. A field of a group, which is there many
// times, has a name but no place: i is -1.
func (l *lets) get(i int) (value int64, known bool) {
	if i < 0 || l.known>>i&1 == 0 {
		return 0, false
	}
	return l.values[i], true
}

// readNamed reads the named fields of a payload. It is not ok if one lies
// outside its range: the message cannot be trusted then.
// known is the block of which data are the bytes; nil if data is whole.
func readNamed(ops []mapping.Op, data []byte, known *block, l *lets) (ok bool) {
	for i := range ops {
		op := &ops[i]
		part, there := l.part(op, data)
		if !there || op.Need > len(part) || !known.has(op.Start, op.Need) {
			continue
		}
		r := raw(op, window(part, op.Start))
		if missing(op, r) {
			continue
		}
		v, ok := whole(op, r)
		if !ok {
			return false
		}
		if scaled := v*op.Mul + op.Add; scaled < op.Low || scaled > op.High {
			return false
		}
		l.values[op.Slot], l.known = v, l.known|1<<op.Slot
	}
	return true
}
