package modbus

import (
	"encoding/binary"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

// publishEqual shows 400 registers that all hold the same word.
func publishEqual(t testing.TB, units *Units, unit byte, word uint16) {
	t.Helper()
	words := make([]uint16, 400)
	for i := range words {
		words[i] = word
	}
	if err := units.Publish(unit, mustImage(t, Block{Words: words})); err != nil {
		t.Fatal(err)
	}
}

// reading is a request for registers.
func reading(from, quantity int) []byte {
	return []byte{3, byte(from >> 8), byte(from), byte(quantity >> 8), byte(quantity)}
}

// word reads registers that all hold the same word, and returns it; -1 is an exception.
func (r *Reader) word(t testing.TB, unit byte, from, quantity int) int {
	t.Helper()
	response := r.Answer(unit, reading(from, quantity), nil)
	if response[0] != 3 {
		return -1
	}
	word := binary.BigEndian.Uint16(response[2:])
	for i := 2; i < len(response); i += 2 {
		if binary.BigEndian.Uint16(response[i:]) != word {
			t.Fatalf("a torn response: % X", response)
		}
	}
	return int(word)
}

// TestSweep publishes a new image before each request: the word says which image
// was seen. The times are not real.
func TestSweep(t *testing.T) {
	type step struct {
		after time.Duration
		unit  byte
		from  int
		count int
		want  int // number of the image, which is that of the step
	}
	for name, steps := range map[string][]step{
		"pieces":                {{0, 1, 0, 125, 0}, {0, 1, 125, 125, 0}, {0, 1, 250, 150 - 25, 0}, {0, 1, 375, 25, 0}},
		"the first piece again": {{0, 1, 0, 125, 0}, {0, 1, 0, 125, 1}, {0, 1, 125, 9, 1}},
		"a later piece again":   {{0, 1, 0, 125, 0}, {0, 1, 125, 125, 0}, {0, 1, 125, 125, 0}, {0, 1, 250, 1, 0}},
		"a gap":                 {{0, 1, 0, 125, 0}, {0, 1, 126, 1, 1}},
		"backwards":             {{0, 1, 125, 125, 0}, {0, 1, 0, 125, 1}, {0, 1, 125, 125, 1}},
		"in time":               {{0, 1, 0, 125, 0}, {SweepTime - 1, 1, 125, 125, 0}},
		"late":                  {{0, 1, 0, 125, 0}, {SweepTime, 1, 125, 125, 1}},
		"each piece in time":    {{0, 1, 0, 100, 0}, {SweepTime / 2, 1, 100, 100, 0}, {SweepTime / 2, 1, 200, 100, 2}},
		"another unit":          {{0, 1, 0, 125, 0}, {0, 2, 125, 125, 1}, {0, 1, 250, 1, 2}},
		"a hostile quantity":    {{0, 1, 0, 125, 0}, {0, 1, 125, 126, -1}, {0, 1, 125, 125, 0}},
		"beyond the end":        {{0, 1, 300, 100, 0}, {0, 1, 400, 1, -1}, {0, 1, 300, 100, 2}},
	} {
		synctest.Test(t, func(t *testing.T) {
			units := new(Units)
			reader := units.NewReader()
			for i, s := range steps {
				time.Sleep(s.after)
				publishEqual(t, units, 1, uint16(i))
				publishEqual(t, units, 2, uint16(i))
				if got := reader.word(t, s.unit, s.from, s.count); got != s.want {
					t.Errorf("%s, step %d: it sees image %d, want %d", name, i, got, s.want)
				}
			}
		})
	}
}

// TestSweepOfUnknownUnit: what is not known any more is not known to a sweep.
func TestSweepOfUnknownUnit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		units := new(Units)
		publishEqual(t, units, 1, 7)
		reader := units.NewReader()
		reader.word(t, 1, 0, 125)
		if err := units.Publish(1, nil); err != nil {
			t.Fatal(err)
		}
		if got := reader.word(t, 1, 125, 125); got != -1 {
			t.Errorf("a unit that is not known any more shows %d", got)
		}
		publishEqual(t, units, 1, 8)
		reader.word(t, 1, 0, 125)
		time.Sleep(Overdue + 1)
		if got := reader.word(t, 1, 125, 125); got != -1 {
			t.Errorf("a unit whose publisher stopped shows %d", got)
		}
	})
}

// TestReadersAreOnTheirOwn: what one client reads moves no other's sweep.
func TestReadersAreOnTheirOwn(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		units := new(Units)
		readers := []*Reader{units.NewReader(), units.NewReader(), units.NewReader()}
		at, seen := make([]int, len(readers)), make([]int, len(readers))
		for image := range rapid.IntRange(1, 40).Draw(rt, "requests") {
			publishEqual(t, units, 1, uint16(image))
			i := rapid.IntRange(0, len(readers)-1).Draw(rt, "client")
			if at[i] == 0 {
				seen[i] = image
			}
			quantity := min(rapid.IntRange(1, 125).Draw(rt, "quantity"), 400-at[i])
			if got := readers[i].word(t, 1, at[i], quantity); got != seen[i] {
				rt.Fatalf("client %d sees image %d at %d, and began with %d", i, got, at[i], seen[i])
			}
			at[i] = (at[i] + quantity) % 400
		}
	})
}

// TestSweepsOverTCP reads 400 registers in pieces while images change.
func TestSweepsOverTCP(t *testing.T) {
	units := new(Units)
	publishEqual(t, units, 1, 0)
	server := serveTCP(t, units)
	conn, ended := server.dial(t), make(chan struct{})
	go func() {
		defer close(ended)
		for range 300 {
			sweepOnce(t, conn)
		}
	}()
	for word := uint16(0); ; word++ {
		select {
		case <-ended:
			return
		default:
			publishEqual(t, units, 1, word)
		}
	}
}

func sweepOnce(t *testing.T, conn io.ReadWriter) {
	var all []byte
	for _, piece := range [][2]int{{0, 125}, {125, 125}, {250, 125}, {375, 25}} {
		response, err := exchange(conn, append([]byte{0, 1, 0, 0, 0, 6, 1}, reading(piece[0], piece[1])...))
		if err != nil {
			t.Error(err)
			return
		}
		all = append(all, response[9:]...)
	}
	for i := 0; i < len(all); i += 2 {
		if all[i] != all[0] || all[i+1] != all[1] {
			t.Errorf("a torn sweep: register %d is % X, and the first % X", i/2, all[i:i+2], all[:2])
			return
		}
	}
}
