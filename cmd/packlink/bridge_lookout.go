package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"packlink/decode/bank"
	"packlink/decode/pack"
)

// lookout tells the log which packs fall silent and are heard again, and which
// sources are heard without a word of their mapping: once at each transition.
type lookout struct {
	log   io.Writer
	fresh map[string]bool // by pack
	heard map[string]bool // packs that were heard at some time
}

// look tells what has changed since the last look.
func (w *lookout) look(b *bank.Bank, sources []*source, now int64) {
	fresh := make(map[string]bool, len(b.Packs))
	var silent, first, back []string
	if w.heard == nil {
		w.heard = make(map[string]bool)
	}
	for i := range b.Packs {
		name := packName(&b.Packs[i])
		is := b.Packs[i].Fresh
		was, known := w.fresh[name]
		fresh[name] = is
		switch {
		case known && was && !is:
			silent = append(silent, name)
		case known && is && !w.heard[name]:
			first = append(first, name)
		case known && !was && is:
			back = append(back, name)
		}
		w.heard[name] = w.heard[name] || is
	}
	w.fresh = fresh
	if len(silent) > 0 {
		fmt.Fprintf(w.log, "fallen silent: %s\n", strings.Join(silent, ", "))
	}
	if len(first) > 0 {
		fmt.Fprintf(w.log, "heard: %s\n", strings.Join(first, ", "))
	}
	if len(back) > 0 {
		fmt.Fprintf(w.log, "heard again: %s\n", strings.Join(back, ", "))
	}
	for _, s := range sources {
		s.tellUnexplained(w.log, now)
	}
}

// packName is the pack as a configuration names it: SOURCE, or SOURCE/ADDRESS.
func packName(s *pack.Status) string {
	if !s.HasAddress {
		return s.Source
	}
	return s.Source + "/" + strconv.FormatUint(uint64(s.Address), 10)
}

// unexplainedFor is how long a bus is heard without a word of its mapping before
// the log says so.
const unexplainedFor = 10 * time.Second

// tellUnexplained says once that a source is heard, and that nothing is of its mapping.
func (s *source) tellUnexplained(log io.Writer, now int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.told || s.frames == 0 || now-s.begun < int64(unexplainedFor) || s.understands() {
		return
	}
	s.told = true
	fmt.Fprintf(log, "source %s: %s heard, none of %s: is it the right mapping?\ntry: packlink identify %s\n",
		s.plan.name, counted(int(s.frames), heardThing(mediumOf(s.plan.table))), s.plan.table.Name, s.identifiable())
}

// identifiable is the source as the verb identify takes it.
func (s *source) identifiable() string {
	if s.plan.live {
		return s.plan.from.String()
	}
	return s.plan.from.Address
}
