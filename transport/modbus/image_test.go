package modbus

import (
	"encoding/binary"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// bench is an identity for tests that are not about it.
var bench = Identity{VendorName: "bench", ProductCode: "test", MajorMinorRevision: "1"}

// mustImage is an image of blocks that are known to be sound.
func mustImage(t testing.TB, blocks ...Block) *Image {
	t.Helper()
	image, err := NewImage(bench, blocks)
	if err != nil {
		t.Fatal(err)
	}
	return image
}

func TestNewImageRefuses(t *testing.T) {
	for says, blocks := range map[string][]Block{
		"address -1: its 2 registers do not fit":    {{From: -1, Words: make([]uint16, 2)}},
		"address 65535: its 2 registers do not fit": {{From: 65535, Words: make([]uint16, 2)}},
		"address 0: its 65537 registers do not fit": {{Words: make([]uint16, 65537)}},
		"address 65537: its 0 registers do not fit": {{From: 65537}},
		"it has 3 registers and says of 2":          {{Words: make([]uint16, 3), Missing: make([]bool, 2)}},
		"it has 1 registers and says of 0":          {{Words: make([]uint16, 1), Missing: []bool{}}},
		"address 14: it overlaps a block that ends at address 14": {
			{From: 14, Words: make([]uint16, 1)}, {From: 10, Words: make([]uint16, 5)}},
		"address 7: it overlaps a block that ends at address 7": {
			{From: 7, Words: make([]uint16, 1)}, {From: 7, Words: make([]uint16, 1)}},
	} {
		if image, err := NewImage(bench, blocks); image != nil || err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("got %v, want an error that says %q", err, says)
		}
	}
}

// TestImageKeepsNothingOfTheCaller: later changes of the slices change nothing.
func TestImageKeepsNothingOfTheCaller(t *testing.T) {
	blocks := []Block{{From: 20, Words: []uint16{7}, Missing: []bool{false}}, {From: 10, Words: []uint16{8}}}
	image := mustImage(t, blocks...)
	if blocks[0].From != 20 {
		t.Error("the caller's blocks were put in another order")
	}
	blocks[0].Words[0], blocks[0].Missing[0], blocks[1].Words[0] = 99, true, 99
	for from, want := range map[int]uint16{20: 7, 10: 8} {
		if got, refusal := image.read(from, 1); refusal != 0 || binary.BigEndian.Uint16(got) != want {
			t.Errorf("address %d: got % X, %v; want %d", from, got, refusal, want)
		}
	}
}

// TestImageJoinsBlocksWithAndWithoutMissing: blocks that touch are one run, whether or
// not they say what is missing.
func TestImageJoinsBlocksWithAndWithoutMissing(t *testing.T) {
	image := mustImage(t, Block{From: 0, Words: []uint16{1}}, Block{From: 1, Words: []uint16{2}, Missing: []bool{true}}, Block{From: 2, Words: []uint16{3, 4}})
	for _, c := range []struct {
		from, quantity int
		want           Exception
	}{{0, 1, 0}, {1, 1, GatewayTargetFailed}, {0, 4, GatewayTargetFailed}, {2, 2, 0}, {3, 1, 0}, {3, 2, IllegalDataAddress}} {
		if got, refusal := image.read(c.from, c.quantity); refusal != c.want || refusal == 0 && len(got) != 2*c.quantity {
			t.Errorf("%d registers from %d: got % X, %v; want %v", c.quantity, c.from, got, refusal, c.want)
		}
	}
}

// TestImageReadsLikeATable compares with a plain table of all addresses.
func TestImageReadsLikeATable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		blocks, table := drawBlocks(t)
		image, err := NewImage(bench, blocks)
		if err != nil {
			t.Fatal(err)
		}
		from := rapid.IntRange(0, 400).Draw(t, "address")
		quantity := rapid.IntRange(1, maxQuantity).Draw(t, "quantity")
		got, refusal := image.read(from, quantity)
		words, want := table.read(from, quantity)
		if refusal != want || string(got) != string(words) {
			t.Fatalf("got % X, %v; want % X, %v", got, refusal, words, want)
		}
	})
}

// table is the registers of a unit one by one: a pointer to nil is missing.
type table map[int]*uint16

func (m table) read(from, quantity int) (words []byte, refusal Exception) {
	for address := from; address < from+quantity; address++ {
		word, mapped := m[address]
		if !mapped {
			return nil, IllegalDataAddress
		}
		if word == nil {
			refusal = GatewayTargetFailed
			continue
		}
		words = binary.BigEndian.AppendUint16(words, *word)
	}
	if refusal != 0 {
		return nil, refusal
	}
	return words, 0
}

// drawBlocks draws blocks with and without gaps, in any order.
func drawBlocks(t *rapid.T) ([]Block, table) {
	var blocks []Block
	known, from := table{}, 0
	for range rapid.IntRange(0, 8).Draw(t, "blocks") {
		from += rapid.SampledFrom([]int{0, 0, 1, 9}).Draw(t, "gap")
		block := Block{From: from, Words: rapid.SliceOfN(rapid.Uint16(), 0, 60).Draw(t, "words")}
		if rapid.Bool().Draw(t, "with missing") {
			n := len(block.Words)
			block.Missing = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) bool {
				return rapid.IntRange(0, 20).Draw(t, "one in twenty") == 0
			}), n, n).Draw(t, "missing")
		}
		for i := range block.Words {
			known[from+i] = &block.Words[i]
			if block.Missing != nil && block.Missing[i] {
				known[from+i] = nil
			}
		}
		blocks, from = append(blocks, block), from+len(block.Words)
	}
	return rapid.Permutation(blocks).Draw(t, "order"), known
}
