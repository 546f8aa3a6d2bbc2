package mapping_test

import (
	"slices"
	"testing"

	"packlink/mapping/library"
)

// TestJoined wants the second register of each number of 32 bits, and those of a text.
func TestJoined(t *testing.T) {
	m, err := library.Load("../fixtures/mapping/good/registers-in-requests.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := m.Messages[0].Joined(), []int{4, 6, 7}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
