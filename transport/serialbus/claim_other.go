//go:build !linux

package serialbus

// claim is nothing here: the library's exclusive use must do.
type claim struct{}

func newClaim(string) (claim, error) { return claim{}, nil }

func (claim) neverWait() {}

func (claim) release() {}
