package mapping

import (
	"encoding/json"
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"packlink/fixtures/beside"
)

// Ids and PGNs computed by the arithmetic of the Linux kernel's
// Documentation/networking/j1939.rst, version 6.1.
var publishedPGNs = map[uint32]uint32{
	0x18FEF7F3: 65271, 0x18FE52F3: 65106, 0x18F090F3: 61584,
	0x18EA21F9: 59904, 0x18EEFF80: 60928, 0x1CECFFF3: 60416, 0x1CEBFFF3: 60160,
	0x19F21423: 127508, 0x19F21223: 127506, 0x19F21923: 127513, 0x19F30723: 127751,
	0x19FFFD46: 131069, 0x19FFFC46: 131068, 0x19FFFB46: 131067, 0x19FEC946: 130761, 0x19FEA546: 130725,
}

func TestPublishedPGNs(t *testing.T) {
	for id, want := range publishedPGNs {
		if got := PGN(id); got != want {
			t.Errorf("%08X: PGN %d, want %d", id, got, want)
		}
		if id>>8&0xFF == 0xFF || !hasDestination(want) {
			if got := J1939ID(want, byte(id>>26), byte(id)); got != id {
				t.Errorf("PGN %d: id %08X, want %08X", want, got, id)
			}
		}
	}
}

func TestSharedPGNs(t *testing.T) {
	data, err := os.ReadFile("../../shared/standards/vectors/can_protocols.json")
	if err != nil {
		beside.Missing(t, "the shared check values are not here: ", err)
	}
	var file struct {
		IDs []struct {
			Name        string
			ID          string `json:"can_id"`
			PGN         uint32
			Priority    byte   `json:"prio"`
			Source      string `json:"sa"`
			Destination string `json:"da"` // "" if the PGN has none
		} `json:"can_ids"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.IDs) < 16 {
		t.Errorf("%d ids, want 16 or more", len(file.IDs))
	}
	for _, v := range file.IDs {
		id, err := strconv.ParseUint(v.ID, 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		if got := PGN(uint32(id)); got != v.PGN {
			t.Errorf("%s: PGN %d, want %d", v.Name, got, v.PGN)
		}
		source := hexByte(t, v.Source)
		if byte(id) != source || byte(id>>priorityBit) != v.Priority || hasDestination(v.PGN) != (v.Destination != "") {
			t.Errorf("%s: %08X has not source %X, priority %d, destination %q", v.Name, id, source, v.Priority, v.Destination)
		}
		to := byte(destination)
		if v.Destination != "" {
			to = hexByte(t, v.Destination)
		}
		if got := SentID(v.PGN, source, to) | uint32(v.Priority)<<priorityBit; got != uint32(id) {
			t.Errorf("%s: PGN %d from %X to %X is %08X, want %08X", v.Name, v.PGN, source, to, got, id)
		}
	}
}

func hexByte(t *testing.T, text string) byte {
	t.Helper()
	n, err := strconv.ParseUint(text, 0, 8)
	if err != nil {
		t.Fatal(err)
	}
	return byte(n)
}

func TestPGNRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pgn := rapid.Uint32Range(0, mostPGN).Draw(t, "pgn")
		if hasDestination(pgn) {
			pgn &^= 0xFF
		}
		priority, source := rapid.ByteRange(0, 7).Draw(t, "priority"), rapid.Byte().Draw(t, "source")
		id := J1939ID(pgn, priority, source)
		if PGN(id) != pgn || byte(id) != source || byte(id>>26) != priority || id >= 1<<29 {
			t.Fatalf("PGN %d, priority %d, source %d: id %08X has PGN %d", pgn, priority, source, id, PGN(id))
		}
	})
}
