package main

import (
	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/library"
)

// soundMapping loads a mapping and runs its examples both ways: what does not
// hold is not used. The error is document.Problems, or says that there is no
// such mapping.
func soundMapping(reference string) (*mapping.Compiled, error) {
	table, err := library.Compile(reference)
	if err != nil {
		return nil, err
	}
	name, data, err := library.File(reference)
	if err != nil {
		return nil, err
	}
	return table, decode.Verify(table, name, data).Err()
}
