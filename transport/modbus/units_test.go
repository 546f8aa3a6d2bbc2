package modbus

import (
	"fmt"
	"sync"
	"testing"
)

func TestPublishRefusesWhatIsNoUnit(t *testing.T) {
	units, image := new(Units), mustImage(t)
	for unit := range 256 {
		if err := units.Publish(byte(unit), image); (err == nil) != (unit >= 1 && unit <= 247) {
			t.Errorf("unit %d: got %v", unit, err)
		}
		if server, err := NewServer(units, byte(unit), nil); (err == nil) != (unit >= 1 && unit <= 247) || (server == nil) != (err != nil) {
			t.Errorf("first unit %d: got %v", unit, err)
		}
	}
}

// TestUnitIsUnknownUntilPublished: invalid until first seen, and after nil again.
func TestUnitIsUnknownUntilPublished(t *testing.T) {
	units := new(Units)
	check := func(want string) {
		t.Helper()
		if got := string(units.Answer(5, []byte{3, 0, 1, 0, 1}, nil)); got != want {
			t.Errorf("got % X, want % X", got, want)
		}
	}
	check("\x83\x0B")
	for _, word := range []uint16{0x1122, 0x3344} {
		if err := units.Publish(5, mustImage(t, Block{From: 1, Words: []uint16{word}})); err != nil {
			t.Fatal(err)
		}
		check(string([]byte{3, 2, byte(word >> 8), byte(word)}))
	}
	if err := units.Publish(5, nil); err != nil {
		t.Fatal(err)
	}
	check("\x83\x0B")
}

// TestAnswerAppends: what the caller has in the slice stays.
func TestAnswerAppends(t *testing.T) {
	units := fixtureUnits(t)
	for request, want := range map[string]string{
		"\x03\x00\x6B\x00\x01": "head\x03\x02\x02\x2B",
		"\x06\x00\x01\x00\x03": "head\x86\x01",
		"\x2B\x0E\x04\x02":     "head\x2B\x0E\x04\x81\x00\x00\x01\x02\x05V2.11",
		"":                     "head",
	} {
		if got := string(units.Answer(1, []byte(request), []byte("head"))); got != want {
			t.Errorf("% X: got %q, want %q", request, got, want)
		}
	}
}

// TestNoTearing swaps images of equal words while clients read, over TCP: every
// response has equal words, of an image not older than the one before.
func TestNoTearing(t *testing.T) {
	units := new(Units)
	publish := func(word uint16) {
		words := make([]uint16, 125)
		for i := range words {
			words[i] = word
		}
		if err := units.Publish(1, mustImage(t, Block{Words: words[:60]}, Block{From: 60, Words: words[60:]})); err != nil {
			t.Error(err)
		}
	}
	publish(0)
	server := serveTCP(t, units)
	var readers sync.WaitGroup
	ended := make(chan struct{})
	for range 4 {
		conn := server.dial(t)
		readers.Go(func() {
			if err := readEqualWords(conn, 500); err != nil {
				t.Error(err)
			}
		})
	}
	go func() { readers.Wait(); close(ended) }()
	for word := uint16(1); ; word = min(word+1, 0xFFFF) {
		select {
		case <-ended:
			return
		default:
			publish(word)
		}
	}
}

// readEqualWords reads 125 registers some times, which must all be equal.
func readEqualWords(conn interface {
	Read([]byte) (int, error)
	Write([]byte) (int, error)
}, times int) error {
	last := -1
	for range times {
		response, err := exchange(conn, []byte{0, 1, 0, 0, 0, 6, 1, 3, 0, 0, 0, 125})
		if err != nil {
			return err
		}
		word := int(response[9])<<8 | int(response[10])
		for i := 9; i < len(response); i += 2 {
			if int(response[i])<<8|int(response[i+1]) != word {
				return fmt.Errorf("a torn response: % X", response)
			}
		}
		if word < last {
			return fmt.Errorf("image %d after image %d", word, last)
		}
		last = word
	}
	return nil
}

// TestNames: what a user reads has a name of its own, and an unknown one says so.
func TestNames(t *testing.T) {
	met := map[string]bool{}
	for reason := range dropReasons + 1 {
		met[reason.String()] = true
	}
	for _, code := range []Exception{IllegalFunction, IllegalDataAddress, IllegalDataValue, GatewayTargetFailed, 0x0A} {
		met[code.String()] = true
	}
	if want := int(dropReasons) + 1 + 5; len(met) != want || met[""] {
		t.Errorf("got %d names, want %d: %v", len(met), want, met)
	}
}
