package main

import (
	"fmt"
	"os"
	"testing"

	"packlink/mapping"
)

// TestEachQuestionIsSentOnce holds that a question to all packs is sent once in its
// period, and one to each pack once for each.
func TestEachQuestionIsSentOnce(t *testing.T) {
	data, err := os.ReadFile("../../fixtures/mapping/good/ask-pgn.yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := mapping.Load("ask-pgn.yaml", data, nil)
	if err != nil {
		t.Fatal(err)
	}
	table, err := mapping.Compile(m)
	if err != nil {
		t.Fatal(err)
	}
	questions, err := canQuestions(table, []uint32{0x21, 0x22})
	got := ""
	for _, q := range questions {
		got += fmt.Sprintf("%08X#%X every %v; ", q.Frame.ID, q.Frame.Data, q.Every)
	}
	want := "18EA21F9#F7FE00 every 5s; 18EFFFF9#30FF01 every 10s; 18EA22F9#F7FE00 every 5s; "
	if err != nil || got != want {
		t.Errorf("the questions are %s %v, want %s", got, err, want)
	}
}
