package bank

import "packlink/decode/pack"

// Alone is one pack as a bank of its own, for a reader that takes banks: what a
// bank says, with its rules for a pack that is not heard, and besides what else
// is known of the pack, such as its serial number and its cells. The bank has the name of the
// pack's source.
func Alone(now int64, p *pack.Status) *Bank {
	b := Sum(p.Source, pack.Decimal{}, now, []pack.Status{*p})
	w, only := &b.Whole, &b.Packs[0]
	for q := range pack.Count {
		row := q.Row()
		switch {
		case row.Kind.List():
			for i, v := range only.Elements(q) {
				w.PutElement(q, i, v)
			}
		case row.Overdue != pack.Marked || w.Value(q).Trust != 0:
		case row.Kind == pack.Word:
			w.PutText(q, only.TextBytes(q), only.Value(q))
		default:
			w.Put(q, only.Value(q))
		}
	}
	return b
}
