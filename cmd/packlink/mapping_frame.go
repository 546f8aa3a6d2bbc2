package main

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"packlink/decode"
	"packlink/mapping"
	"packlink/transport/capture"
)

// ofFrame tells whether something was said of a frame beside its bytes.
func (j *mappingJob) ofFrame() bool {
	return j.hex != "" || j.id != "" || j.register >= 0 || j.asked != ""
}

// showFrame accounts for every bit of a frame.
func (j *mappingJob) showFrame(reference string, s *streams) error {
	m, err := draftMapping(reference)
	if err != nil {
		return err
	}
	table, err := mapping.Compile(m)
	if err != nil {
		return err
	}
	account, err := j.account(table)
	if err != nil {
		return &hinted{usageError{fmt.Errorf("mapping show: %w", err)}, "packlink help mapping"}
	}
	if !j.json {
		return writeAccount(s.out, account)
	}
	return writeJSON(s.out, account)
}

// writeJSON writes a value in several lines.
func writeJSON(w io.Writer, value any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(value)
}

// account accounts for the frame as the mapping's bus has it.
func (j *mappingJob) account(c *mapping.Compiled) (*decode.Account, error) {
	if c.Bus.CAN != nil {
		return j.canAccount(c)
	}
	data, err := parseHex("--hex", j.hex)
	switch {
	case err != nil:
		return nil, err
	case j.id != "":
		return nil, fmt.Errorf("--id is for a mapping of a CAN bus; %s is none", c.Name)
	case c.Bus.Serial != nil:
		return j.serialAccount(c, data)
	case c.Bus.Registers.ModelsAt >= 0 && j.register >= 0:
		return nil, fmt.Errorf("%s has models, whose bytes begin with the model's id: leave out --register", c.Name)
	case c.Bus.Registers.ModelsAt >= 0:
		return decode.AccountModel(c, data), nil
	case j.register > 0xFFFF:
		return nil, fmt.Errorf("there is no register %d; they end at 65535", j.register)
	case j.register >= 0 && !decode.IsRTU(data):
		return decode.AccountRegisters(c, j.register, data), nil
	}
	return decode.AccountRTU(c, data, j.register), nil
}

func (j *mappingJob) serialAccount(c *mapping.Compiled, data []byte) (*decode.Account, error) {
	if j.register >= 0 {
		return nil, fmt.Errorf("--register is for a mapping of registers; %s is none", c.Name)
	}
	if j.asked == "" {
		return decode.AccountSerial(c, data, nil), nil
	}
	asked, err := parseHex("--asked", j.asked)
	if err != nil {
		return nil, err
	}
	return decode.AccountSerial(c, data, asked), nil
}

// canAccount accounts for a CAN frame, which is given as one word, or as an id
// and the data.
func (j *mappingJob) canAccount(c *mapping.Compiled) (*decode.Account, error) {
	word := strings.ReplaceAll(j.hex, ".", "")
	switch whole := strings.Contains(word, "#"); {
	case j.register >= 0 || j.asked != "":
		return nil, fmt.Errorf("--register and --asked are not for a CAN bus")
	case whole && j.id != "":
		return nil, fmt.Errorf("the id is given twice: by --id and in %q", j.hex)
	case !whole && j.id == "":
		return nil, fmt.Errorf("a frame of a CAN bus needs its id: --id 355, or in one word as 355#6000")
	case !whole:
		word = idWord(j.id)
	}
	f, err := capture.ParseFrame(word)
	if err != nil {
		return nil, fmt.Errorf("%q is no CAN frame: %w", word, err)
	}
	if j.id != "" {
		if f.Data, err = parseHex("--hex", j.hex); err != nil {
			return nil, err
		}
	}
	return decode.AccountCAN(c, &f), nil
}

// idWord is a frame without data in one word. An id of more than three digits is
// an extended one.
func idWord(id string) string {
	id = strings.TrimPrefix(id, "0x")
	digits := 3
	if len(id) > digits {
		digits = 8
	}
	return strings.Repeat("0", max(digits-len(id), 0)) + id + "#"
}

// mostBytes is the longest run of bytes that is accounted for.
const mostBytes = 1 << 17

// parseHex reads bytes in hexadecimal digits, with blanks, dots, commas or colons
// between them.
func parseHex(flag, text string) ([]byte, error) {
	digits := strings.NewReplacer(" ", "", "\t", "", "\n", "", ".", "", ",", "", ":", "").Replace(text)
	switch data, err := hex.DecodeString(digits); {
	case digits == "":
		return nil, fmt.Errorf("%s holds no bytes", flag)
	case len(digits)%2 != 0:
		return nil, fmt.Errorf("%s has %d hexadecimal digits; a byte has two", flag, len(digits))
	case err != nil:
		return nil, fmt.Errorf("%s must be pairs of hexadecimal digits, such as \"60 00\"; this is %q", flag, text)
	case len(data) > mostBytes:
		return nil, fmt.Errorf("%s has %d bytes; at most %d are looked at", flag, len(data), mostBytes)
	default:
		return data, nil
	}
}

// writeAccount writes an account as a table that a person can read.
func writeAccount(w io.Writer, a *decode.Account) error {
	var text bytes.Buffer
	message := "no message"
	if len(a.Messages) > 0 {
		message = strings.Join(a.Messages, ", ")
	}
	fmt.Fprintf(&text, "%s: %s", a.Frame, message)
	if a.Address != nil {
		fmt.Fprintf(&text, ", address %d", *a.Address)
	}
	fmt.Fprintln(&text)
	for _, problem := range a.Problems {
		fmt.Fprintf(&text, "! %s\n", problem)
	}
	for _, near := range a.Nearest {
		fmt.Fprintf(&text, "  near: %s\n", near)
	}
	t := tabwriter.NewWriter(&text, 0, 0, 2, ' ', 0)
	for i := range a.Spans {
		writeSpan(t, &a.Spans[i])
	}
	t.Flush()
	if len(a.Absent) > 0 {
		fmt.Fprintf(&text, "  not in the frame: %s\n", strings.Join(a.Absent, "; "))
	}
	for line := range bytes.Lines(text.Bytes()) {
		if _, err := fmt.Fprintln(w, string(bytes.TrimRight(line, " \n"))); err != nil {
			return err
		}
	}
	return nil
}

func writeSpan(t io.Writer, s *decode.Span) {
	mark := " "
	if s.Wrong {
		mark = "!"
	}
	what := s.Name
	if s.Kind != decode.SpanField {
		what = strings.TrimSpace(s.Kind + " " + s.Name)
	}
	value := strings.TrimSpace(string(s.Value) + " " + s.Unit)
	if s.Value == nil {
		value = ""
	}
	fmt.Fprintf(t, "%s %s\t%s\t%s\t%s\t%s\n", mark, s.Place(), rawText(s), what, value, s.Note)
}

// rawText are a span's bytes as they stand, and the number that they make if its
// digits are others.
func rawText(s *decode.Span) string {
	switch strings.ReplaceAll(s.Bytes, " ", "") {
	case "":
		return s.Raw
	case s.Raw:
		return s.Bytes
	}
	return s.Bytes + " = 0x" + s.Raw
}
