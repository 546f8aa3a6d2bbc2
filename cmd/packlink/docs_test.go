package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
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
