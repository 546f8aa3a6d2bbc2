package modbus

import (
	"encoding/hex"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

const fixtureFolder = "../../fixtures/modbus"

// vector is one file of the fixture folder, as its README.md says.
type vector struct {
	name, what, expect, source string
	request, response          []byte
}

// vectors reads all vectors, and fails when there is none.
func vectors(t testing.TB) []vector {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(fixtureFolder, "*.txt"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no vector in %s (%v)", fixtureFolder, err)
	}
	all := make([]vector, len(files))
	for i, file := range files {
		all[i] = readVector(t, file)
	}
	return all
}

func readVector(t testing.TB, file string) vector {
	t.Helper()
	fields := map[string]string{}
	for _, line := range readLines(t, file) {
		key, value, found := strings.Cut(line, ":")
		if _, twice := fields[key]; !found || twice {
			t.Fatalf("%s: cannot read the line %q", file, line)
		}
		fields[key] = strings.TrimSpace(value)
	}
	v := vector{
		name: filepath.Base(file), what: fields["what"], expect: fields["expect"], source: fields["source"],
		request: unhex(t, fields["request"]), response: unhex(t, fields["response"]),
	}
	if len(fields) != 5 || v.what == "" || v.source == "" || len(v.request) == 0 {
		t.Fatalf("%s: a vector has what, expect, source, request and response", file)
	}
	return v
}

func readLines(t testing.TB, file string) []string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(string(text)), "\n")
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return data
}

// fixtureUnits are the units that every vector is sent to.
func fixtureUnits(t testing.TB) *Units {
	t.Helper()
	units := new(Units)
	for unit := byte(1); unit <= 2; unit++ {
		image := readImage(t, filepath.Join(fixtureFolder, "unit-"+strconv.Itoa(int(unit))+".image"))
		if err := units.Publish(unit, image); err != nil {
			t.Fatal(err)
		}
	}
	return units
}

func readImage(t testing.TB, file string) *Image {
	t.Helper()
	var objects [regularObjects]string
	var blocks []Block
	for _, line := range readLines(t, file) {
		key, value, _ := strings.Cut(line, ": ")
		if strings.HasPrefix(line, "#") {
			continue
		}
		object, isObject := strings.CutPrefix(key, "object ")
		number, err := strconv.Atoi(object)
		if err != nil {
			t.Fatalf("%s: %q: %v", file, line, err)
		}
		if isObject {
			objects[number] = value
			continue
		}
		blocks = append(blocks, readBlock(t, number, value))
	}
	image, err := NewImage(Identity{objects[0], objects[1], objects[2], objects[3], objects[4], objects[5], objects[6]}, blocks)
	if err != nil {
		t.Fatal(err)
	}
	return image
}

func readBlock(t testing.TB, from int, words string) Block {
	t.Helper()
	block := Block{From: from}
	for _, text := range strings.Fields(words) {
		block.Missing = append(block.Missing, text == "--")
		word, err := strconv.ParseUint(strings.ReplaceAll(text, "--", "DEAD"), 16, 16)
		if err != nil {
			t.Fatal(err)
		}
		block.Words = append(block.Words, uint16(word))
	}
	return block
}

// outcomes are the words that may stand after expect.
var outcomes = map[string]bool{
	"ok": true, "exception-01": true, "exception-02": true, "exception-03": true, "exception-0B": true,
	"close": true, "half-frame": true,
}

func TestMostVectorsAreBad(t *testing.T) {
	all, bad, met := vectors(t), 0, map[string]bool{}
	for _, v := range all {
		if !outcomes[v.expect] {
			t.Errorf("%s: there is no outcome %q", v.name, v.expect)
		}
		if v.expect != "ok" {
			bad++
		}
		met[v.expect] = true
	}
	if bad*100 < len(all)*60 {
		t.Errorf("%d of %d vectors are bad, want 60 %%", bad, len(all))
	}
	for outcome := range outcomes {
		if !met[outcome] {
			t.Errorf("no vector expects %s", outcome)
		}
	}
	t.Logf("%d vectors, %d of them bad", len(all), bad)
}

// TestVectorsSayWhatTheyExpect: the outcome in words is that of the bytes.
func TestVectorsSayWhatTheyExpect(t *testing.T) {
	for _, v := range vectors(t) {
		if got := outcomeOf(v.response); v.answered() && got != v.expect {
			t.Errorf("%s: the response is %s, and the file says %s", v.name, got, v.expect)
		}
	}
}

// answered tells whether every message of the vector gets a response.
func (v vector) answered() bool { return v.expect != "close" && v.expect != "half-frame" }

// outcomeOf is the outcome of the last message of a stream of responses.
func outcomeOf(responses []byte) string {
	outcome := "no response"
	for len(responses) > headerBytes {
		size := uncountedBytes + int(responses[4])<<8 + int(responses[5])
		outcome = "ok"
		if responses[7]&0x80 != 0 {
			outcome = "exception-" + strings.ToUpper(hex.EncodeToString(responses[8:9]))
		}
		responses = responses[size:]
	}
	return outcome
}
