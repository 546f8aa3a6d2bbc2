package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"packlink/fixtures/beside"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"packlink": main})
}

// TestScripts runs the program as its users do.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script"})
}

// TestTruth decodes captures that were made elsewhere, and wants the truth that
// came with them, at every tick.
func TestTruth(t *testing.T) {
	const folder = "../../../shared/captures/"
	truth, err := os.ReadFile(folder + "bench-35x.truth.jsonl")
	if err != nil {
		beside.Missing(t, "the shared captures are not here: ", err)
	}
	for _, name := range []string{"bench-35x.pcapng", "bench-35x.log"} {
		for _, mapping := range []string{"", "storage-can-35x"} {
			var out, log strings.Builder
			args := []string{"decode", folder + name}
			if mapping != "" {
				args = append(args, "--mapping", mapping)
			}
			if code := run(t.Context(), args, &streams{&out, &log}); code != exitDone {
				t.Fatalf("%v: exit %d: %s", args, code, log.String())
			}
			compareTruth(t, name, lines(string(truth)), lines(out.String()))
		}
	}
}

func lines(text string) []string { return strings.Split(strings.TrimSpace(text), "\n") }

// inTruth are the names that the truth has for the kinds of alarms.
var inTruth = map[string]string{"pack_overvoltage": "overvoltage", "pack_undervoltage": "undervoltage"}

func compareTruth(t *testing.T, name string, truth, records []string) {
	t.Helper()
	if len(truth) != len(records) {
		t.Fatalf("%s: %d records, want %d", name, len(records), len(truth))
	}
	for i := range truth {
		var want, got map[string]any
		if err := json.Unmarshal([]byte(truth[i]), &want); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal([]byte(records[i]), &got); err != nil {
			t.Fatal(err)
		}
		if got["stale"] != nil || got["suspect"] != nil {
			t.Errorf("%s, tick %d: stale %v, suspect %v", name, i+1, got["stale"], got["suspect"])
		}
		checkTick(t, i < len(truth)-1, want["tick_unix_s"].(float64), got)
		for key, value := range want {
			if key == "tick_unix_s" {
				continue // the last record is at the end, before the last tick
			}
			if shown, wanted := asTruth(got[key]), asTruth(value); shown != wanted {
				t.Errorf("%s, tick %d, %s: got %s, want %s", name, i+1, key, shown, wanted)
			}
		}
	}
}

// checkTick wants time and age of a record to add up to its tick.
func checkTick(t *testing.T, regular bool, tick float64, got map[string]any) {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, got["time"].(string))
	if err != nil {
		t.Fatal(err)
	}
	if sum := float64(at.UnixMilli())/1000 + got["age_s"].(float64); regular && (sum < tick-0.0005 || sum > tick+0.0005) {
		t.Errorf("tick %v: time and age add up to %v", tick, sum)
	}
}

// asTruth is a value in the form of the truth: flags as 0 and 1, alarms as
// pairs, -0 as 0.
func asTruth(v any) string {
	switch v := v.(type) {
	case bool:
		return map[bool]string{false: "0", true: "1"}[v]
	case float64:
		text, _ := json.Marshal(v + 0)
		return strings.TrimPrefix(string(text), "-0")
	case []any:
		var items []string
		for _, item := range v {
			if alarm, is := item.(map[string]any); is {
				kind, _ := alarm["kind"].(string)
				if other := inTruth[kind]; other != "" {
					kind = other
				}
				item = []any{kind, alarm["level"]}
			}
			text, _ := json.Marshal(item)
			items = append(items, string(text))
		}
		return "[" + strings.Join(items, ",") + "]"
	}
	text, _ := json.Marshal(v)
	return string(text)
}

// rooms are the folders, and what of ours each may import. A folder below one
// is in its room unless it stands here itself.
var rooms = map[string]string{
	"packlink/decode/pack":         `^$`,
	"packlink/mapping/document":    `^$`,
	"packlink/mapping/checksum":    `^$`,
	"packlink/mapping/framing":     `^packlink/mapping/checksum$`,
	"packlink/mapping":             `^packlink/(decode/pack|mapping/document|mapping/checksum|mapping/framing)$`,
	"packlink/mapping/draft":       `^packlink/(mapping|mapping/document|decode/pack)$`,
	"packlink/mapping/library":     `^packlink/mapping(/document)?$`,
	"packlink/decode":              `^packlink/(mapping|mapping/document|mapping/checksum|mapping/framing|decode/pack|transport)$`,
	"packlink/decode/bank":         `^packlink/decode/pack$`,
	"packlink/decode/dbcpeer":      `^$`,
	"packlink/transport":           `^$`,
	"packlink/transport/capture":   `^packlink/transport$`,
	"packlink/transport/modbus":    `^packlink/transport$`,
	"packlink/transport/feed":      `^packlink/(transport|decode/pack|decode/bank)$`,
	"packlink/transport/canbus":    `^packlink/transport(/canbus/.*)?$`,
	"packlink/transport/serialbus": `^packlink/transport$`,
	"packlink/cmd/packlink":        `^packlink/`,
	"packlink/cmd/packlink/demo":   `^$`,
	"packlink/fixtures":            `^$`,

	"packlink/decode/simulate":         `^packlink/(decode|decode/pack|decode/bank|decode/physics|mapping|mapping/checksum|transport)$`,
	"packlink/decode/physics":          `^packlink/decode/pack$`,
	"packlink/decode/physics/scenario": `^packlink/(decode/pack|decode/physics|mapping/document)$`,
}

// room is what a package may import: the entry of the nearest folder.
func room(path string) (allowed string, known bool) {
	for ; path != "packlink"; path = path[:strings.LastIndex(path, "/")] {
		if allowed, known = rooms[path]; known {
			return allowed, true
		}
	}
	return "", false
}

// TestRooms holds every package to its room.
func TestRooms(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}: {{join .Imports " "}}`, "packlink/...").Output()
	if err != nil {
		beside.Missing(t, "no go command to list the packages: ", err)
	}
	for _, line := range lines(string(out)) {
		path, imports, _ := strings.Cut(line, ":")
		allowed, known := room(path)
		if !known {
			t.Errorf("%s is in no room", path)
			continue
		}
		for _, imported := range strings.Fields(imports) {
			if strings.HasPrefix(imported, "packlink") && !regexp.MustCompile(allowed).MatchString(imported) {
				t.Errorf("%s imports %s", path, imported)
			}
		}
	}
}

// TestTopLevel holds the top folder to the rooms of the house.
func TestTopLevel(t *testing.T) {
	want := map[string]bool{
		"README.md": true, "DEVELOPERS.md": true, "LICENSE": true, "go.mod": true, "go.sum": true,
		"cmd": true, "decode": true, "transport": true, "mapping": true, "fixtures": true, "docs": true,
	}
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !want[e.Name()] && !strings.HasPrefix(e.Name(), ".") && e.Name() != "packlink" {
			t.Errorf("%s does not belong in the top folder", e.Name())
		}
	}
}

// TestReadmeExample runs the README's decode command and wants the record that
// it shows.
func TestReadmeExample(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	shown := regexp.MustCompile("(?s)\\$ packlink (decode [^\n]+)\n.*?```json\n([^\n]+)\n```").FindStringSubmatch(string(readme))
	if shown == nil {
		t.Fatal("the README shows no decode command with its record")
	}
	t.Chdir("../..")
	var out, log strings.Builder
	if code := run(t.Context(), strings.Fields(shown[1]), &streams{&out, &log}); code != exitDone {
		t.Fatalf("exit code %d: %s", code, log.String())
	}
	if !strings.HasPrefix(out.String(), shown[2]) {
		t.Errorf("the README shows\n%s\nand the command gives\n%s", shown[2], lines(out.String())[0])
	}
}

// TestDocumentedFiles holds the examples of the documents to the files they
// are said to be.
func TestDocumentedFiles(t *testing.T) {
	block := regexp.MustCompile("(?s)```[a-z]+ file=(\\S+)\n(.*?)```")
	documents, _ := filepath.Glob("../../docs/*.md")
	found := 0
	for _, document := range documents {
		text, err := os.ReadFile(document)
		if err != nil {
			t.Fatal(err)
		}
		for _, match := range block.FindAllStringSubmatch(string(text), -1) {
			found++
			file, err := os.ReadFile(filepath.Join("../../docs", match[1]))
			if err != nil {
				t.Errorf("%s: %v", document, err)
			} else if string(file) != match[2] {
				t.Errorf("%s shows another text than %s", document, match[1])
			}
		}
	}
	if found == 0 {
		t.Error("no document shows a file")
	}
}
