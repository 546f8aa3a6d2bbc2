package feed

import (
	"encoding/json"
	"net/http"
)

// problem is an error answer: a problem document of RFC 9457, "Problem Details
// for HTTP APIs". Its type is about:blank, so its title is the status's phrase
// (section 4.2.1).
type problem struct {
	Type    string         `json:"type"`
	Title   string         `json:"title"`
	Status  int            `json:"status"`
	Detail  string         `json:"detail"`
	Sources []sourceReport `json:"sources,omitempty"` // extension members: see serveHealth
	Outputs []outputReport `json:"outputs,omitempty"`
}

func (p problem) write(w http.ResponseWriter, r *http.Request) {
	p.Type, p.Title = "about:blank", http.StatusText(p.Status)
	body, _ := json.Marshal(p) // strings and numbers always have a JSON form
	answer(w, r, p.Status, "application/problem+json", body)
}
