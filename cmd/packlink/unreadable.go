package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// unreadable says why a file cannot be read that should be a recording, a mapping or
// another such thing, and what would help: look where it was looked for, unless
// instead says what else there is.
func unreadable(err error, what, instead string) error {
	var at *fs.PathError
	if !errors.As(err, &at) {
		return err
	}
	if instead == "" {
		instead = "ls " + filepath.Dir(at.Path)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &hinted{fmt.Errorf("%s: no such file: there is no such %s", at.Path, what), instead}
	case isFolder(at.Path):
		return &hinted{fmt.Errorf("%s: a folder, where a %s is due", at.Path, what), "ls " + at.Path}
	case errors.Is(err, fs.ErrPermission):
		return &hinted{fmt.Errorf("%s: the %s cannot be read: permission denied", at.Path, what), "ls -l " + at.Path}
	}
	return fmt.Errorf("%s: the %s cannot be read: %w", at.Path, what, at.Err)
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// aFile is the error of reading a folder, before it is opened; nil for all else.
func aFile(path string) error {
	if !isFolder(path) {
		return nil
	}
	return &fs.PathError{Op: "read", Path: path, Err: errors.New("is a folder")}
}
