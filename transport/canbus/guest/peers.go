package main

import (
	"path/filepath"
	"regexp"
)

// peerPackage is the Debian package of the independent programs that the tests
// in the guest talk to.
const peerPackage = "can-utils"

// peers are the programs of it that the guest has.
var peers = []string{"candump", "cansend", "cangen", "slcan_attach", "slcand"}

// peerFiles gives where in the guest each peer and each library of theirs is to
// be, and from where it comes.
func peerFiles(cache string) (map[string]string, error) {
	folder := filepath.Join(cache, peerPackage)
	if !isFolder(folder) {
		var err error
		if folder, err = unpack(cache, peerPackage, func(string) error { return nil }); err != nil {
			return nil, err
		}
	}
	files := map[string]string{}
	for _, name := range peers {
		program := filepath.Join(folder, "usr", "bin", name)
		files["/usr/bin/"+name] = program
		libraries, err := output("ldd", program)
		if err != nil {
			return nil, err
		}
		for _, match := range libraryLine.FindAllStringSubmatch(libraries, -1) {
			files[match[1]] = match[1]
		}
	}
	return files, nil
}

// libraryLine finds the paths in what ldd prints.
var libraryLine = regexp.MustCompile(`(/\S+) \(0x`)
