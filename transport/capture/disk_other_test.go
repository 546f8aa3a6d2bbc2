//go:build !linux

package capture

import "testing"

func smallDisk(t *testing.T) string {
	t.Helper()
	t.Skip("a small file system is mounted on Linux only")
	return ""
}
