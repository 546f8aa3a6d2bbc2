package main

import (
	"strings"
	"testing"
	"time"

	"packlink/decode/pack"
	"packlink/mapping/library"
	"packlink/transport"
)

// TestLookout follows packs, of which one falls silent and is heard again and one
// answers late, and a source that nothing is decoded of: each is told once.
func TestLookout(t *testing.T) {
	table, err := library.Compile("homebrew-can")
	if err != nil {
		t.Fatal(err)
	}
	wrong := newSource(&sourcePlan{name: "odd", table: table, live: true, from: transport.Endpoint{Scheme: "can", Address: "can0"}}, func() {})
	start := int64(1780000000e9)
	wrong.take(&transport.Frame{Time: start, Medium: transport.CAN, ID: 0x7FF, Data: []byte{1}})
	b := &bridge{plan: &plan{bank: "shed"}, sources: []*source{wrong}}
	var log strings.Builder
	out := lookout{log: &log}
	look := func(at time.Duration, fresh bool) {
		whole, health := b.state(start + int64(at))
		if !health[0].Unexplained {
			t.Error("a source is healthy of which nothing is decoded")
		}
		whole.Packs = []pack.Status{{Source: "left", Address: 3, HasAddress: true, Fresh: fresh}, {Source: "right", Fresh: true}, {Source: "asked", Fresh: at > 0}}
		out.look(whole, b.sources, start+int64(at))
	}
	for i, fresh := range []bool{true, true, false, false, true, true} {
		look(time.Duration(i)*time.Second, fresh)
	}
	look(unexplainedFor, true)
	look(2*unexplainedFor, true)
	want := `heard: asked
fallen silent: left/3
heard again: left/3
source odd: 1 frame heard, none of homebrew-can: is it the right mapping?
try: packlink identify can:can0
`
	if log.String() != want {
		t.Errorf("got %s\nwant %s", log.String(), want)
	}
}

// TestListenDoubtsItsMapping wants one line in a pipe when frames come and none is
// of the mapping, and none while the mapping is right.
func TestListenDoubtsItsMapping(t *testing.T) {
	for name, want := range map[string]string{
		"storage-can-35x": "",
		"homebrew-can":    "frames arrive, and none is of homebrew-can: wrong mapping\n",
		"uart-a5":         "bytes arrive, and no frame is of uart-a5: wrong mapping, speed or polarity\n",
	} {
		table, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		h := newHearing("a bus", "bus", table)
		f := transport.Frame{Medium: mediumOf(table), ID: 0x355, Data: []byte{0x5F, 0, 0x63, 0}}
		var log strings.Builder
		for range 3 {
			if err := h.take(&f); err != nil {
				t.Fatal(err)
			}
			f.Time += int64(doubtAfter)
			h.doubt(f.Time)
			if err := h.writeLines(&streams{new(strings.Builder), &log}, f.Time); err != nil {
				t.Fatal(err)
			}
		}
		if got := log.String(); strings.Count(got, "\n") != strings.Count(want, "\n") || !strings.HasSuffix(got, want) {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
}
