package modbus

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"testing"

	"packlink/fixtures/beside"
)

// The worked examples of the specification. They stand here once more, beside
// the fixtures, for they are the checks that this project did not make.
func TestWorkedExamples(t *testing.T) {
	units := fixtureUnits(t)
	for _, c := range []struct{ source, request, response string }{
		{"section 6.3: registers 108 to 110 are 555, 0, 100", "03 006B 0003", "03 06 022B 0000 0064"},
		{"section 6.4: input register 9 is 10", "04 0008 0001", "04 02 000A"},
		{"section 7, exception 02: of 100 registers, start 96 quantity 4 succeeds", "03 0060 0004", "03 08 0062 0063 0064 0065"},
		{"section 7, exception 02: of 100 registers, start 96 quantity 5 fails", "03 0060 0005", "83 02"},
	} {
		got := units.Answer(1, unhex(t, c.request), nil)
		if want := unhex(t, c.response); !bytes.Equal(got, want) {
			t.Errorf("%s: got % X, want % X", c.source, got, want)
		}
	}
}

// publishedVectors holds the worked examples of the MODBUS Application Protocol
// Specification V1.1b3, each with its section.
const publishedVectors = "../../../shared/standards/vectors/modbus_vectors.json"

type publishedVector struct {
	ID          string `json:"id"`
	RequestPDU  string `json:"request_pdu"`
	ResponsePDU string `json:"response_pdu"`
	RequestTCP  string `json:"request_tcp_tid0x1501_unit0xFF"`
	ResponseTCP string `json:"response_tcp_tid0x1501_unit0xFF"`
}

// TestPublishedVectors sends every worked example: what this server does not
// support is refused with exception 01, and the rest is answered as printed.
func TestPublishedVectors(t *testing.T) {
	server, answered := &Server{units: fixtureUnits(t), first: 1}, 0
	for _, v := range readPublished(t) {
		got := server.units.Answer(1, unhex(t, v.RequestPDU), nil)
		want := unhex(t, v.ResponsePDU)
		switch v.ID {
		case "fc03", "fc04":
			answered++
			if frame := server.respond(server.units.NewReader(), unhex(t, v.RequestTCP), make([]byte, maxADU)); !bytes.Equal(frame, unhex(t, v.ResponseTCP)) {
				t.Errorf("%s: got % X, want %s", v.ID, frame, v.ResponseTCP)
			}
		case "fc2B-0E":
			answered++
			want[3] = conformityBasic // the example's device has stream access only (01), ours both (81)
		default:
			want = []byte{unhex(t, v.RequestPDU)[0] | 0x80, 0x01}
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s: got % X, want % X", v.ID, got, want)
		}
	}
	if answered != 3 {
		t.Errorf("%d examples of functions 03, 04 and 43 were met, want 3", answered)
	}
}

func readPublished(t *testing.T) []publishedVector {
	text, err := os.ReadFile(publishedVectors)
	if errors.Is(err, fs.ErrNotExist) {
		beside.Missing(t, "the published vectors are not here: ", err)
	}
	var all []publishedVector
	if err == nil {
		err = json.Unmarshal(text, &all)
	}
	if err != nil {
		t.Fatal(err)
	}
	return all
}
