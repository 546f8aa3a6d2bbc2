package decode

import (
	"encoding/json"
	"math"
)

// AppendJSON appends the verdict as one JSON object: "mapping" is absent where
// it is not sure; "candidates" begin with the likeliest, each with its reasons.
func (v *Verdict) AppendJSON(b []byte) []byte {
	type reason struct {
		Test    string  `json:"test"`
		Bits    float64 `json:"bits"`
		Text    string  `json:"text"`
		Refutes bool    `json:"refutes,omitempty"`
	}
	type candidate struct {
		Mapping   string   `json:"mapping"`
		Bits      float64  `json:"bits"`
		Frames    uint64   `json:"frames"`
		Explained uint64   `json:"explained"`
		Reasons   []reason `json:"reasons"`
	}
	shown := struct {
		Mapping    string      `json:"mapping,omitempty"`
		Sure       bool        `json:"sure"`
		Doubt      string      `json:"doubt,omitempty"`
		Frames     uint64      `json:"frames"`
		Candidates []candidate `json:"candidates"`
	}{Sure: v.Chosen != nil, Frames: v.Frames}
	if v.Chosen != nil {
		shown.Mapping = v.Chosen.Name
	} else {
		shown.Doubt = v.Doubt()
	}
	for i := range v.Candidates {
		e := &v.Candidates[i]
		c := candidate{e.Table.Name, tenth(e.Bits()), e.Frames, e.Explained, nil}
		for _, r := range e.Reasons {
			c.Reasons = append(c.Reasons, reason{r.Test, tenth(r.Bits), r.Text, r.Refutes})
		}
		shown.Candidates = append(shown.Candidates, c)
	}
	text, err := json.Marshal(shown)
	if err != nil {
		panic("decode: a verdict cannot be written as JSON: " + err.Error()) // every part of it is plain
	}
	return append(b, text...)
}

func tenth(f float64) float64 { return math.Round(f*10) / 10 }
