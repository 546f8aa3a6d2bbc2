package main

import (
	"compress/gzip"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
)

// archive writes the file tree of the guest: a cpio archive of the kind newc,
// compressed (Linux, Documentation/driver-api/early-userspace/buffer-format.rst).
type archive struct {
	out   *gzip.Writer
	known map[string]bool
	inode int
	err   error
}

// The kinds of file in an archive, with their rights.
const (
	folderMode  = 0o040755
	programMode = 0o100755
	linkMode    = 0o120777
	deviceMode  = 0o020600
)

func newArchive(w io.Writer) (*archive, error) {
	out, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
	return &archive{out: out, known: map[string]bool{"/": true}}, err
}

// entry writes one file, and the folders that lead to it. The device number is
// 5:1, the console's; it counts for devices only.
func (a *archive) entry(name string, mode int, data []byte) {
	if name != trailer {
		if a.known[name] {
			return
		}
		a.folder(path.Dir(name))
		a.known[name] = true
		name = name[1:]
	}
	a.inode++
	head := fmt.Sprintf("070701%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%s\x00",
		a.inode, mode, 0, 0, 1, 0, len(data), 0, 0, 5, 1, len(name)+1, 0, name)
	a.write([]byte(head))
	a.write(data)
}

// trailer is the name that ends an archive.
const trailer = "TRAILER!!!"

func (a *archive) write(data []byte) {
	if a.err == nil {
		_, a.err = a.out.Write(data)
	}
	if pad := -len(data) & 3; pad > 0 && a.err == nil {
		_, a.err = a.out.Write(make([]byte, pad))
	}
}

func (a *archive) folder(name string) {
	if !a.known[name] {
		a.entry(name, folderMode, nil)
	}
}

// put writes a file or a folder of the host, links followed.
func (a *archive) put(name, from string) error {
	return filepath.WalkDir(from, func(at string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		under, err := filepath.Rel(from, at)
		if err != nil {
			return err
		}
		where := path.Join(name, filepath.ToSlash(under))
		if d.IsDir() {
			a.folder(where)
			return nil
		}
		data, err := os.ReadFile(at)
		a.entry(where, programMode, data)
		return err
	})
}

// close ends the archive.
func (a *archive) close() error {
	a.entry(trailer, 0, nil)
	if a.err != nil {
		return a.err
	}
	return a.out.Close()
}
