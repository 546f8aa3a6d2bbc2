package decode_test

import (
	"encoding/binary"
	"encoding/json"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping/library"
	"packlink/transport"
)

// FuzzDecoder feeds frames made of arbitrary bytes to every built-in mapping:
// whatever comes, a record is valid JSON, and the counters add up.
func FuzzDecoder(f *testing.F) {
	f.Add([]byte{0x03, 0x51, 8, 0x34, 0x02, 0x90, 0x01, 0xD0, 0x07, 0xC0, 0x01})
	f.Add([]byte{0x03, 0x55, 4, 0x60, 0x00, 0x63, 0x00, 0x03, 0x56, 3, 1, 2, 3})
	f.Add([]byte{0x83, 0x5A, 8, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x00, 0x01, 0})
	f.Add([]byte{0x03, 0x5E, 8, 0x22, 0x5C, 0x00, 0xFF, 0xC3, 0x28, 0x0A, 0x7F})
	names := library.Names()
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, name := range names {
			table := compiled(t, name)
			d := decode.NewDecoder(table, "fuzz")
			frames := uint64(0)
			for rest := data; len(rest) >= 3; frames++ {
				rest = fuzzFrame(rest, frames, d)
			}
			counters := d.Counters()
			if counters.Frames() != frames {
				t.Fatalf("%d frames are counted as %d", frames, counters.Frames())
			}
			var s pack.Status
			for i := range d.Packs() {
				d.Status(i, int64(frames), &s)
				if record := s.AppendJSON(nil); !json.Valid(record) {
					t.Fatalf("not JSON: %s", record)
				}
			}
		}
	})
}

// fuzzFrame takes one frame from the front of the data: id, length, bytes.
func fuzzFrame(rest []byte, at uint64, d *decode.Decoder) []byte {
	head := binary.BigEndian.Uint16(rest)
	size := min(int(rest[2]), len(rest)-3)
	f := transport.Frame{Time: int64(at), Medium: transport.CAN, ID: uint32(head & 0x7FF), Data: rest[3 : 3+size]}
	if head&0x8000 != 0 {
		f.Flags, f.ID = transport.Extended, 0x18FF4000|uint32(head&0x7FFF)
	}
	d.Decode(&f)
	return rest[3+size:]
}

// FuzzTransfers feeds arbitrary frames to mappings with a message for each
// transfer: whatever comes, a record is valid JSON, and the counters add up.
func FuzzTransfers(f *testing.F) {
	for _, seed := range transferSeeds(f) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, name := range transferMappings {
			d := decode.NewDecoder(compiled(t, name), "fuzz")
			frames, now := uint64(0), int64(0)
			for rest := data; len(rest) >= 5; frames++ {
				rest, now = fuzzTransferFrame(rest, now, d)
			}
			counters := d.Counters()
			if counters.Frames() != frames {
				t.Fatalf("%s: %d frames are counted as %d", name, frames, counters.Frames())
			}
			var s pack.Status
			for i := range d.Packs() {
				d.Status(i, now, &s)
				if record := s.AppendJSON(nil); !json.Valid(record) {
					t.Fatalf("%s: not JSON: %s", name, record)
				}
			}
		}
	})
}

var transferMappings = []string{
	"nmea2000-battery", "../fixtures/mapping/good/transport-protocol.yaml", "../fixtures/mapping/good/iso-tp.yaml",
}

// transferIDs are the ids of their messages and of the transport protocol.
var transferIDs = []uint32{0x19F21200, 0x19F21900, 0x1CEC0000, 0x1CEB0000, 0x18FF3000, 0x18EF0000, 0x7E8, 0x7E0}

// fuzzTransferFrame takes one frame from the front of the data: which id, its
// destination and source, the pause before it in tens of milliseconds, length, bytes.
func fuzzTransferFrame(rest []byte, now int64, d *decode.Decoder) ([]byte, int64) {
	n := min(int(rest[4]), len(rest)-5)
	f := transport.Frame{Medium: transport.CAN, ID: transferIDs[int(rest[0])%len(transferIDs)], Data: rest[5 : 5+n]}
	if f.ID > 0x7FF {
		f.Flags = transport.Extended
		f.ID |= uint32(rest[2])
	}
	if f.ID&0xFF00 == 0 {
		f.ID |= uint32(rest[1]) << 8
	}
	f.Time = now + int64(rest[3])*second/100
	d.Decode(&f)
	return rest[5+n:], f.Time
}

// transferSeeds are the frames of the mappings' examples.
func transferSeeds(f *testing.F) (seeds [][]byte) {
	for _, name := range transferMappings {
		table, err := library.Compile(name)
		if err != nil {
			f.Fatal(err)
		}
		var seed []byte
		for i := range table.Programs {
			_ = decode.Carry(&table.Programs[i], 0x21, 5, table.Programs[i].Examples[0].Payload, func(frame *transport.Frame) error {
				for kind, id := range transferIDs {
					if frame.ID == id || frame.ID&^0xFF == id || frame.ID&^0xFFFF == id {
						seed = append(seed, byte(kind), byte(frame.ID>>8), byte(frame.ID), 1, byte(len(frame.Data)))
						seed = append(seed, frame.Data...)
						break
					}
				}
				return nil
			})
		}
		seeds = append(seeds, seed)
	}
	return seeds
}

// FuzzModels reads arbitrary registers as SunSpec models.
func FuzzModels(f *testing.F) {
	table, err := library.Compile("sunspec-battery")
	if err != nil {
		f.Fatal(err)
	}
	blocks, _ := decode.Layout(table, &pack.Status{}, make([]pack.Status, 2))
	image := make([]byte, 0, 2*len(blocks[0].Words))
	for _, w := range blocks[0].Words {
		image = binary.BigEndian.AppendUint16(image, w)
	}
	f.Add(image)
	f.Add(image[:300])
	f.Add([]byte{0x53, 0x75, 0x6E, 0x53, 0xFF, 0xFF, 0, 0})
	f.Add([]byte{0x53, 0x75, 0x6E, 0x53, 0x03, 0x22, 0xFF, 0xFF})
	f.Fuzz(func(t *testing.T, data []byte) {
		words := make([]uint16, len(data)/2)
		for i := range words {
			words[i] = binary.BigEndian.Uint16(data[2*i:])
		}
		for _, s := range readImage(table, decode.Registers{From: blocks[0].From, Words: words}, 1) {
			if record := s.AppendJSON(nil); !json.Valid(record) {
				t.Fatalf("not JSON: %s", record)
			}
		}
	})
}
