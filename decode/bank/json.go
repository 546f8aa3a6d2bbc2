package bank

import "packlink/decode/pack"

// AppendJSON appends the bank record: one JSON object without a line end. It
// allocates nothing if to has room.
func (b *Bank) AppendJSON(to []byte) []byte {
	to = append(to, '{')
	to = b.Whole.AppendTime(to)
	to = pack.AppendText(pack.AppendKey(to, "bank"), b.Name)
	to = b.Whole.AppendQuantities(to)
	to = append(pack.AppendKey(to, "shares"), '[')
	for i := range b.Shares {
		if i > 0 {
			to = append(to, ',')
		}
		to = b.Shares[i].appendJSON(to)
	}
	return append(to, ']', '}')
}

func (s *Share) appendJSON(to []byte) []byte {
	to = pack.AppendText(pack.AppendKey(append(to, '{'), "source"), s.Source)
	if s.HasAddress {
		to = pack.Int(int64(s.Address)).Append(pack.AppendKey(to, "address"))
	}
	to = appendNumber(to, "current_a", s.Current)
	to = appendNumber(to, "share_pct", s.Percent)
	return append(to, '}')
}

func appendNumber(to []byte, key string, v pack.Value) []byte {
	if v.Trust == 0 {
		return to
	}
	return v.Decimal().Append(pack.AppendKey(to, key))
}
