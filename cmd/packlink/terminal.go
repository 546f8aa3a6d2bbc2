package main

import (
	"io"
	"os"

	"golang.org/x/term"
)

// isTerminal tells whether a person watches a stream.
func isTerminal(w io.Writer) bool {
	if t, is := w.(*together); is {
		w = t.to
	}
	file, is := w.(*os.File)
	return is && term.IsTerminal(int(file.Fd()))
}

// The size of a terminal that does not tell its own.
const (
	usualWidth  = 80
	usualHeight = 24
)

// terminalSize is the width and height of a terminal, in characters.
func terminalSize(w io.Writer) (width, height int) {
	file, is := w.(*os.File)
	if !is {
		return usualWidth, usualHeight
	}
	width, height, err := term.GetSize(int(file.Fd()))
	if err != nil || width < 1 || height < 1 {
		return usualWidth, usualHeight
	}
	return width, height
}
