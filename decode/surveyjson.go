package decode

import (
	"encoding/json"
	"fmt"
)

// MarshalJSON is the survey as one object: "sightings" are the different frames, in
// the order of [Survey.Sightings], with their samples in pairs of hexadecimal digits;
// "further" is how many frames there were beyond them. What does not hold of a
// sighting is absent.
func (s *Survey) MarshalJSON() ([]byte, error) {
	type sighting struct {
		Kind      string   `json:"kind"`
		Message   string   `json:"message,omitempty"`
		Question  bool     `json:"question,omitempty"`
		Wrong     string   `json:"wrong,omitempty"`
		Note      string   `json:"note,omitempty"`
		Frames    uint64   `json:"frames"`
		Size      int      `json:"size"`
		Addresses []uint32 `json:"addresses,omitempty"`
		Sample    string   `json:"sample"`
		Address   *int     `json:"address,omitempty"`
	}
	shown := struct {
		Sightings []sighting `json:"sightings"`
		Further   uint64     `json:"further,omitempty"`
	}{[]sighting{}, s.further}
	for _, is := range s.Sightings() {
		one := sighting{is.Kind, is.Message, is.Question, is.Wrong, is.Note, is.Frames, is.Size, is.Addresses, fmt.Sprintf("% X", is.Sample), nil}
		if is.Address >= 0 {
			one.Address = &is.Address
		}
		shown.Sightings = append(shown.Sightings, one)
	}
	return json.Marshal(shown)
}
