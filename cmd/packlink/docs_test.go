package main

import (
	"bytes"
	"encoding/hex"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"packlink/transport"
	"packlink/transport/capture"
)

// TestDocumentedParts holds the pieces of files that the documents show to the
// files they are said to be from.
func TestDocumentedParts(t *testing.T) {
	block := regexp.MustCompile("(?s)```[a-z]+ part=(\\S+)\n(.*?)```")
	documents, _ := filepath.Glob("../../docs/*.md")
	found := 0
	for _, document := range documents {
		for _, match := range block.FindAllStringSubmatch(readText(t, document), -1) {
			found++
			if file := readText(t, filepath.Join("../../docs", match[1])); !strings.Contains("\n"+file, "\n"+match[2]) {
				t.Errorf("%s shows what is not in %s:\n%s", document, match[1], match[2])
			}
		}
	}
	if found == 0 {
		t.Error("no document shows a part of a file")
	}
}

// TestDocumentedCommands runs the commands of docs/write-a-mapping.md where its
// files are, and wants what the page shows.
func TestDocumentedCommands(t *testing.T) {
	text := readText(t, "../../docs/write-a-mapping.md")
	t.Chdir("../../fixtures/mapping/walk")
	commands := 0
	for _, block := range regexp.MustCompile("(?s)```console\n(.*?)```").FindAllStringSubmatch(text, -1) {
		for _, step := range strings.Split("\n"+block[1], "\n$ packlink ")[1:] {
			line, want, _ := strings.Cut(step, "\n")
			commands++
			var out strings.Builder
			run(t.Context(), arguments(line), &streams{&out, &out})
			if got := strings.TrimSuffix(out.String(), "\n"); got != strings.TrimSuffix(want, "\n") {
				t.Errorf("packlink %s gives\n%s\nand the page shows\n%s", line, got, want)
			}
		}
	}
	if commands < 8 {
		t.Errorf("only %d commands are found", commands)
	}
}

// arguments are the words of a command line; what stands in double quotes is one.
func arguments(line string) (words []string) {
	for i, piece := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, piece)
		} else {
			words = append(words, strings.Fields(piece)...)
		}
	}
	return words
}

func readText(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

var update = flag.Bool("update", false, "write the recording of docs/write-a-mapping.md anew")

// lanternLine is what the recording holds: two packs, one of a kind that the table
// of the page does not have, and a frame that was damaged on the way.
var lanternLine = []string{
	"5A 02 01 03 52 83 58 FE", "5A 02 02 09 01 0C E4 0C E5 0C E6 00 00 75",
	"5A 03 01 03 52 79 57 6C", "5A 02 01 03 52 83 59 FE", "5A 02 04 01 07 87",
}

// TestLanternRecording makes the recording of docs/write-a-mapping.md again and
// compares.
func TestLanternRecording(t *testing.T) {
	var made bytes.Buffer
	w, err := capture.NewWriter(&made, capture.Bus{Medium: transport.Serial, Name: "lantern"})
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 5, 28, 9, 0, 0, 0, time.UTC)
	for i, text := range lanternLine {
		data, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Send(&transport.Frame{Time: at.Add(time.Duration(i) * 50 * time.Millisecond).UnixNano(), Medium: transport.Serial, Data: data}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	const path = "../../fixtures/mapping/walk/line.pcapng"
	if *update {
		if err := os.WriteFile(path, made.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if readText(t, path) != made.String() {
		t.Error(path + " is not what the test makes; make it with: go test ./cmd/packlink -run TestLanternRecording -update")
	}
}
