// Package library holds the mapping files that are built in.
package library

import (
	"embed"
	"fmt"
	"path"
	"slices"
	"strings"

	"packlink/mapping"
	"packlink/mapping/document"
)

//go:embed *.yaml
var files embed.FS

// Names are the names of the built-in mappings, in order.
func Names() []string {
	entries, _ := files.ReadDir(".")
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), ".yaml")
	}
	slices.Sort(names)
	return names
}

// Load loads the mapping that a reference names: a built-in name or the path
// of a file, with options behind a question mark, as in
// "sunspec-battery?current=discharge-positive".
func Load(reference string) (*mapping.Mapping, error) { return load(reference, mapping.Load) }

// Draft loads the mapping that a reference names, which may lack its examples.
func Draft(reference string) (*mapping.Mapping, error) { return load(reference, mapping.Draft) }

func load(reference string, read func(string, []byte, map[string]string) (*mapping.Mapping, error)) (*mapping.Mapping, error) {
	name, options, err := mapping.ParseReference(reference)
	if err != nil {
		return nil, err
	}
	file, data, err := File(name)
	if err != nil {
		return nil, err
	}
	return read(file, data, options)
}

// Compile loads a mapping and compiles it.
func Compile(reference string) (*mapping.Compiled, error) {
	m, err := Load(reference)
	if err != nil {
		return nil, err
	}
	return mapping.Compile(m)
}

// File finds the file that a reference names, and its content. A name without
// a slash and without an ending is a built-in one.
func File(reference string) (name string, data []byte, err error) {
	name, _, err = mapping.ParseReference(reference)
	if err != nil {
		return "", nil, err
	}
	if strings.ContainsAny(name, `/\`) || path.Ext(name) != "" {
		data, err = document.ReadFile(name)
		return name, data, err
	}
	data, err = files.ReadFile(name + ".yaml")
	if err != nil {
		return "", nil, fmt.Errorf("there is no built-in mapping %q; there are %s; a file needs its ending or a path, as in ./%s.yaml",
			name, strings.Join(Names(), ", "), name)
	}
	return name + ".yaml", data, nil
}
