//go:build !unix

package transport

// groupOf finds no group: there are none on this system.
func groupOf(string) (name string, shared bool) { return "", false }
