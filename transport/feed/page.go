package feed

import (
	"embed"
	"net/http"
)

//go:embed page
var pages embed.FS

// page answers with an embedded file. A file that is missing stops the program
// at its start.
func page(contentType, path string) func(*HTTP, http.ResponseWriter, *http.Request) {
	body, err := pages.ReadFile(path)
	if err != nil {
		panic("feed: " + err.Error())
	}
	return func(_ *HTTP, w http.ResponseWriter, r *http.Request) {
		answer(w, r, http.StatusOK, contentType, body)
	}
}
