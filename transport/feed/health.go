package feed

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"

	"packlink/decode/pack"
)

// sourceReport is one source in the answer of /healthz.
type sourceReport struct {
	Source string      `json:"source"`
	Fresh  bool        `json:"fresh"`
	Age    json.Number `json:"age_s,omitempty"` // absent if it was never heard

	Unexplained bool `json:"unexplained,omitempty"` // heard, and nothing is of its mapping
}

// healthReport is the answer of /healthz.
type healthReport struct {
	Sources []sourceReport `json:"sources"`
	Outputs []outputReport `json:"outputs,omitempty"`
}

// serveHealth answers 200 while every source is fresh, else 503 with which is
// not and for how long.
func (h *HTTP) serveHealth(w http.ResponseWriter, r *http.Request) {
	s := h.current.Load()
	if trouble := s.trouble(); trouble != "" {
		problem{Status: http.StatusServiceUnavailable, Detail: trouble}.write(w, r)
		return
	}
	reports, silent := s.health()
	if len(silent) > 0 || len(reports) == 0 {
		detail := strings.Join(silent, "; ")
		if len(reports) == 0 {
			detail = "there is no source"
		}
		problem{Status: http.StatusServiceUnavailable, Detail: detail, Sources: reports, Outputs: outputReports(s.outputs)}.write(w, r)
		return
	}
	body, _ := json.Marshal(healthReport{reports, outputReports(s.outputs)}) // strings and numbers always have a JSON form
	answer(w, r, http.StatusOK, "application/json", body)
}

// health is the report of each source, and a sentence for each that is silent.
func (s *snapshot) health() (reports []sourceReport, silent []string) {
	for _, source := range s.sources {
		report := sourceReport{Source: source.Source, Fresh: source.Fresh, Unexplained: source.Unexplained}
		sentence := fmt.Sprintf("source %s was never heard", source.Source)
		if source.Heard != 0 {
			report.Age = s.ageOf(source.Heard)
			sentence = fmt.Sprintf("source %s is not fresh: last heard %s s ago", source.Source, report.Age)
		}
		if source.Unexplained {
			sentence = fmt.Sprintf("source %s is heard, and nothing is decoded: last heard %s s ago, nothing of its mapping", source.Source, report.Age)
		}
		reports = append(reports, report)
		if !source.Fresh {
			silent = append(silent, sentence)
		}
	}
	return reports, silent
}

// ageOf is how long before this moment a frame came, in s, to 1 ms.
func (s *snapshot) ageOf(heard int64) json.Number {
	elapsed := time.Duration(s.bank.Whole.Now-heard) + time.Since(s.at)
	return json.Number(pack.Decimal{Coef: elapsed.Milliseconds(), Exp: -3}.String())
}
