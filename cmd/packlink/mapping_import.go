package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"packlink/mapping/draft"
)

// mostImported is the largest description that is read, in bytes.
const mostImported = 16 << 20

// drafts are the descriptions that a mapping can begin from, by the ending of a file.
var drafts = map[string]struct {
	name  string
	begin func(string, []byte) (*draft.Draft, error)
}{".dbc": {"DBC file", draft.DBC}, ".json": {"model definition", draft.SunSpec}}

// importFile drafts a mapping from a description that a file's ending names.
func (j *mappingJob) importFile(path string, s *streams) error {
	from, is := drafts[strings.ToLower(filepath.Ext(path))]
	if !is {
		return &hinted{usageError{fmt.Errorf("mapping import: %s is no .dbc (a DBC file) and no .json (a SunSpec model definition)", path)}, "packlink help mapping"}
	}
	data, err := readAtMost(path, mostImported)
	if err != nil {
		return fmt.Errorf("mapping import: %w", unreadable(err, from.name, ""))
	}
	d, err := from.begin(filepath.Base(path), data)
	if err != nil {
		return fmt.Errorf("mapping import: %w", err)
	}
	if err := j.write(d.Text, s.out); err != nil {
		return fmt.Errorf("mapping import: %w", err)
	}
	if j.to != "" {
		fmt.Fprintf(s.log, "wrote the draft %s; what is left to say is marked in it\n", j.to)
	}
	for _, lost := range d.Lost {
		fmt.Fprintf(s.log, "packlink: left out: %s\n", lost)
	}
	return nil
}

func readAtMost(path string, most int64) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, most+1))
	if err == nil && int64(len(data)) > most {
		err = fmt.Errorf("%s has more than %d bytes", path, most)
	}
	return data, err
}

// write writes the draft to the file that was asked for, which must be new, or
// to out.
func (j *mappingJob) write(text []byte, out io.Writer) error {
	if j.to == "" {
		_, err := out.Write(text)
		return err
	}
	file, err := os.OpenFile(j.to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s is there already, and is not overwritten", j.to)
	}
	if err != nil {
		return err
	}
	_, err = file.Write(text)
	return errors.Join(err, file.Close())
}
