package capture

import (
	"syscall"
	"testing"

	"packlink/fixtures/beside"
)

// smallDisk mounts a file system of 64 KiB, which needs privileges.
func smallDisk(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=64k"); err != nil {
		beside.Missing(t, "cannot mount a small file system, which needs privileges: ", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, 0); err != nil {
			t.Error(err)
		}
	})
	return folder
}
