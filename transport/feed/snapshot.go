package feed

import (
	"fmt"
	"sync"
	"time"

	"packlink/decode/bank"
)

// snapshot is one published state. It is never changed, so any number of
// readers share it.
type snapshot struct {
	bank    *bank.Bank // nil before the first
	sources []SourceHealth
	outputs []OutputHealth
	at      time.Time     // when it was published
	next    chan struct{} // closed when a newer one is there

	render sync.Once
	events []byte // both events of the stream
	record []byte // the bank record, a part of events
	array  []byte // the pack records, a part of events
}

// trouble says why the snapshot must not be shown, "" if it may be.
func (s *snapshot) trouble() string {
	if s.bank == nil {
		return "no status is known yet: nothing has been heard since the start"
	}
	if old := time.Since(s.at); old > Overdue {
		return fmt.Sprintf("the last status is %.0f s old and no longer shown: the bridge has stopped making new ones", old.Seconds())
	}
	return ""
}

// rendered makes the JSON, once for all readers.
func (s *snapshot) rendered() *snapshot {
	s.render.Do(func() {
		b := append(make([]byte, 0, 4096), "event: bank\ndata: "...)
		start := len(b)
		b = s.bank.AppendJSON(b)
		end := len(b)
		b = append(b, "\n\nevent: packs\ndata: "...)
		startArray := len(b)
		b = s.appendPacks(b)
		endArray := len(b)
		b = append(b, '\n', '\n')
		s.events, s.record, s.array = b, b[start:end], b[startArray:endArray]
	})
	return s
}

func (s *snapshot) appendPacks(b []byte) []byte {
	b = append(b, '[')
	for i := range s.bank.Packs {
		if i > 0 {
			b = append(b, ',')
		}
		b = s.bank.Packs[i].AppendJSON(b)
	}
	return append(b, ']')
}
