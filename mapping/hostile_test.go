package mapping_test

import (
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"packlink/mapping"
	"packlink/mapping/document"
)

// filling is how many of some lines fill a file of the limits, of which so many fill
// one of 50,000 words and marks.
func filling(lines int) int { return lines * document.MaxTokens / 50_000 }

// hostile are files as large as the limits allow, whose parts multiply.
func hostile() map[string]string {
	const head = "{packlink: 1, name: big, title: t, source: [{title: s}], bus: {can: {bitrate: 250000, id_bits: 29}}, byte_order: little, messages: ["
	const tail = "], examples: [{hex: \"\", gives: {}, source: s}]}]}"
	fields := func(match string, most int, lines ...func(i int) string) string {
		var b strings.Builder
		b.WriteString(head + "{name: m, can: {" + match + "}, length: [0, 1785], fields: [{at: 0, as: u8, let: first, range: [0, 200]},\n")
		for i := range filling(most) {
			for _, line := range lines {
				b.WriteString(line(i) + ",\n")
			}
		}
		return b.String() + "{at: 1, as: u8, let: last}" + tail
	}
	messages := func(most int, line func(i int) string) string {
		var b strings.Builder
		b.WriteString(head)
		for i := range filling(most) {
			fmt.Fprintf(&b, "{name: m%d, %s, examples: [{hex: \"\", gives: {}, source: s}]},\n", i, line(i))
		}
		return b.String() + "{name: last, can: {id: 1}, examples: [{hex: \"\", gives: {}, source: s}]}]}"
	}
	at := func(format string) func(int) string { return func(i int) string { return fmt.Sprintf(format, i) } }
	values := func(n int) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, "%d,", i)
		}
		return b.String()
	}
	const long = "pgn: 0xFF01, transfer: j1939"
	return map[string]string{
		"messages that share an id":          messages(370, at("can: {id: 0x100}, fields: [{at: 0, as: u16, equals: %d}]")),
		"messages whose ids may be anything": messages(450, at("can: {id: 0x100, any: %d}")),
		"constants of eight bytes":           messages(260, at("can: {id: 0x100}, length: 16, fields: [{at: 0, as: u64, equals: %d}, {at: 8, as: u64, equals: 1}]")),
		"short ids that may be anything":     strings.ReplaceAll(messages(450, func(int) string { return "can: {id: 0, any: 0x7FF}" }), "id_bits: 29", "id_bits: 11"),
		"a chain of lists": fields(long, 340, at("{at: 0, as: u8, let: n%d, range: [0, 256]}"), func(i int) string {
			return fmt.Sprintf("{after: n%d, at: 0, as: u8, is: \"cells_v[]\", repeat: n%d, step: 65535}", max(i-1, 0), i)
		}),
		"lists behind one list":               "" + fields(long, 570, at("{after: first, at: %d, as: u8, is: \"cells_v[]\", repeat: first}")),
		"lists that follow themselves":        fields(long, 570, func(i int) string { return "{after: first, at: 0, as: u8, is: \"cells_v[]\", repeat: first}" }),
		"fields that depend on all values":    fields(long, 26, at("{at: %d, as: u64, is: \"cells_v[]\", repeat: 200, when: {first: ["+values(256)+"]}}")),
		"fields that depend on many names":    fields(long, 520, func(i int) string { return fmt.Sprintf("{at: 0, as: u64, let: n%d, when: {n%d: %d}}", i, i-1, i) }),
		"long lists that exclude one another": fields(long, 420, at("{at: 2, as: u8, is: \"cells_v[]\", step: 6, repeat: 256, when: {first: %d}}")),
		"long lists that depend on many": fields(long, 420, func(i int) string {
			return fmt.Sprintf("{at: %d, as: u8, is: \"cells_v[]\", step: 6, repeat: 256, when: {n%d: 1}}", 2+i%6, i%60)
		}),
		"hundreds that share an id": messages(370, func(i int) string {
			return fmt.Sprintf("can: {id: %d}, fields: [{at: 0, as: u8, equals: %d}]", i/256+2, i%256)
		}),
		"pages of pages":    fields(long, 420, at("{at: %d, as: u32, is: \"cells_v[]\", page: first, repeat: 256, step: 65535}")),
		"names without end": fields(long, 1200, at("{at: 0, as: u8, let: n%d}")),
		"codes without end": fields(long, 40, func(i int) string {
			return "{at: 0, as: u8, repeat: 256, alarms: {" + strings.ReplaceAll(values(40), ",", ": [other, warning], ") + "other: [other, warning]}}"
		}),
		"meanings without end": fields(long, 16, func(i int) string {
			return "{at: 0, as: u16, is: model, values: {" + strings.ReplaceAll(values(280), ",", ": A, ") + "other: B}}"
		}),
	}
}

// TestHostileFiles loads files whose constructs multiply, and compiles those that
// are sound. Each costs a bounded amount of memory; the log says how much, and
// how long it took.
func TestHostileFiles(t *testing.T) {
	const mostMemory = 48 << 20
	for name, text := range hostile() {
		if len(text) > document.MaxBytes {
			text = text[:document.MaxBytes]
			t.Errorf("%s: the file is too large to be tried", name)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		begun := time.Now()
		m, err := mapping.Load("big.yaml", []byte(text), nil)
		if err == nil {
			_, err = mapping.Compile(m)
		}
		took := time.Since(begun)
		runtime.ReadMemStats(&after)
		cost := after.TotalAlloc - before.TotalAlloc
		var problems document.Problems
		if !errors.As(err, &problems) {
			problems = document.Problems{{Rule: "none"}}
		}
		if problems[0].Rule == document.RuleYAML {
			t.Errorf("%s is not read at all: %v", name, problems[0])
		}
		t.Logf("%s: %v, %d MB allocated, %d problems, first %s", name, took.Round(time.Millisecond), cost>>20, len(problems), problems[0].Rule)
		if cost > mostMemory {
			t.Errorf("%s: %d MB were allocated", name, cost>>20)
		}
	}
}
