// Package bank adds up the statuses of packs in parallel to the status of one
// bank: totals, weighted means, extremes, safe limits and how the packs share
// the current.
//
// A bank is built from fresh packs only. A pack that is not heard in time is
// counted, and contributes nothing: its last values are not repeated.
package bank

import "packlink/decode/pack"

// Bank is what is known about a bank at one instant.
type Bank struct {
	Name   string
	Whole  pack.Status   // the bank's own quantities; Time is that of the newest frame of any pack, and Fresh tells whether one is
	Packs  []pack.Status // the packs in the order given; pack numbers count from 1
	Shares []Share       // one for each pack, in the same order
}

// member is a fresh pack and its number in the bank, from 1.
type member struct {
	*pack.Status
	number int
}

// Sum makes the bank of the given packs at the instant now, in nanoseconds
// since the Unix epoch. The statuses must already be expired and derived for
// that instant; they are copied. nominal is the configured capacity of the
// bank in Ah, and 0 where none is configured. The packs are taken to be
// connected in parallel.
func Sum(name string, nominal pack.Decimal, now int64, packs []pack.Status) *Bank {
	b := &Bank{Name: name, Packs: make([]pack.Status, len(packs)), Shares: make([]Share, len(packs))}
	b.Whole.Now = now
	fresh := make([]member, 0, 16)
	for i := range packs {
		s := &b.Packs[i]
		packs[i].CopyTo(s)
		b.Whole.Time = max(b.Whole.Time, s.Time)
		if s.Fresh {
			fresh = append(fresh, member{s, i + 1})
		}
	}
	w := &b.Whole
	w.Fresh = len(fresh) > 0
	w.SetNumber(pack.Packs, pack.Int(int64(len(packs))), now)
	w.SetNumber(pack.PacksFresh, pack.Int(int64(len(fresh))), now)
	agree(w, fresh)
	measure(w, fresh, nominal)
	findExtremes(w, fresh)
	mergeAlarms(w, fresh)
	if len(fresh) < len(packs) {
		w.Alarms.Set(packLost, true)
	}
	permit(w, fresh, len(packs))
	b.share()
	return b
}

// packLost is the bank's own alarm: a pack is not heard in time.
var packLost, _ = pack.ParseAlarm("communication_lost", "warning")

// mergeAlarms makes an alarm active if a fresh pack calls it active. Of a pack
// whose alarms are overdue the active ones stay, so that no alarm is lost, and
// the bank's alarms count as overdue too.
func mergeAlarms(w *pack.Status, fresh []member) {
	for _, m := range fresh {
		alarms := m.Alarms
		if m.AlarmsStale {
			alarms.Known = alarms.Active
			w.AlarmsStale = true
		}
		w.Alarms = w.Alarms.Merge(alarms)
	}
}

// agree sets the maker and the model if all fresh packs give the same.
func agree(w *pack.Status, fresh []member) {
	for _, q := range [...]pack.Quantity{pack.Maker, pack.Model} {
		if text, ok := common(fresh, q); ok {
			w.PutText(q, []byte(text), known(pack.Decimal{}, fresh[0].Value(q).At))
		}
	}
}

// common is the text that all fresh packs give.
func common(fresh []member, q pack.Quantity) (text string, ok bool) {
	for i, m := range fresh {
		if _, ok := m.Usable(q); !ok {
			return "", false
		}
		if i == 0 {
			text = m.Text(q)
		} else if m.Text(q) != text {
			return "", false
		}
	}
	return text, len(fresh) > 0
}

// known is a value that is known and trusted, with the time of its frame.
func known(d pack.Decimal, at int64) pack.Value {
	return pack.Value{Coef: d.Coef, Exp: d.Exp, At: at, Trust: pack.Known}
}
