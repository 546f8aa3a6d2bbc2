package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
)

// The most records that differ, and the most keys of one, that are shown.
const (
	differencesShown = 5
	keysShown        = 8
)

// compare decodes a capture and holds its records against those of a file.
func (j *replayJob) compare(ctx context.Context, path string, s *streams) error {
	if err := aFile(j.expect); err != nil {
		return unreadable(err, "file of records", "")
	}
	expected, err := os.Open(j.expect)
	if err != nil {
		return unreadable(err, "file of records", "")
	}
	defer expected.Close()
	want := bufio.NewScanner(expected)
	want.Buffer(nil, 1<<20)
	line, differences := 0, 0
	hold := func(got, wanted string) {
		line++
		text := difference(got, wanted)
		if text == nil {
			return
		}
		if differences++; differences <= differencesShown {
			tellDifference(s.out, line, text)
		}
	}
	decoded := func(got string) {
		wanted := nothing
		if want.Scan() {
			wanted = strings.TrimSpace(want.Text())
		}
		hold(got, wanted)
	}
	if err := j.decode(ctx, path, decoded, s); err != nil {
		return err
	}
	for want.Scan() {
		hold(nothing, want.Text())
	}
	if err := want.Err(); err != nil {
		return fmt.Errorf("%s: %w", j.expect, err)
	}
	if differences > 0 {
		return doesNotHold{fmt.Errorf("replay: %d of %s differ from %s", differences, counted(line, "record"), j.expect)}
	}
	fmt.Fprintf(s.out, "%s as expected\n", counted(line, "record"))
	return nil
}

// nothing stands where a record is missing.
const nothing = "nothing"

func tellDifference(w io.Writer, line int, parts []string) {
	for i, part := range parts {
		if i == keysShown {
			fmt.Fprintf(w, "line %d: and %s more\n", line, counted(len(parts)-i, "key"))
			return
		}
		fmt.Fprintf(w, "line %d: %s\n", line, part)
	}
}

// difference says in which keys two records differ; nil if they are the same.
func difference(got, wanted string) (parts []string) {
	if got == wanted {
		return nil
	}
	decoded, expected := values(got), values(wanted)
	if decoded == nil || expected == nil {
		return []string{fmt.Sprintf("decoded %s, expected %s", got, wanted)}
	}
	keys := maps.Clone(decoded)
	maps.Copy(keys, expected)
	for _, key := range slices.Sorted(maps.Keys(keys)) {
		is, should := orAbsent(decoded[key]), orAbsent(expected[key])
		if is != should {
			parts = append(parts, fmt.Sprintf("%s is %s, expected %s", key, is, should))
		}
	}
	return parts
}

func orAbsent(value string) string {
	if value == "" {
		return "absent"
	}
	return value
}

// values are the values of a record by their keys, as compact JSON; nil if it is no
// JSON object.
func values(record string) map[string]string {
	var object map[string]json.RawMessage
	if json.Unmarshal([]byte(record), &object) != nil || object == nil {
		return nil
	}
	values := make(map[string]string, len(object))
	for key, value := range object {
		var compact bytes.Buffer
		_ = json.Compact(&compact, value) // it was read as JSON before
		values[key] = compact.String()
	}
	return values
}
