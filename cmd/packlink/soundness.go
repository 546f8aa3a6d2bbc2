package main

import (
	"errors"
	"slices"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/document"
	"packlink/mapping/library"
)

// soundMapping loads a mapping and runs its examples both ways: what does not
// hold is not used. The error is document.Problems, or says that there is no
// such mapping.
func soundMapping(reference string) (*mapping.Compiled, error) {
	table, err := library.Compile(reference)
	if isDraft(err) {
		return nil, &hinted{err, "packlink mapping show " + reference + " --in CAPTURE, which takes a mapping without examples, and lists frames for them"}
	}
	if err != nil {
		return nil, err
	}
	name, data, err := library.File(reference)
	if err != nil {
		return nil, err
	}
	return table, decode.Verify(table, name, data).Err()
}

// isDraft tells whether nothing is wrong with a mapping but that examples are
// missing.
func isDraft(err error) bool {
	var problems document.Problems
	return errors.As(err, &problems) && !slices.ContainsFunc(problems, func(p document.Problem) bool { return p.Rule != mapping.RuleDraft })
}
