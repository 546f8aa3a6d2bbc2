package capture

import (
	"os"
	"syscall"
	"testing"
)

// smallDisk mounts a file system of 64 KiB, which needs privileges.
func smallDisk(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=64k"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("cannot mount a small file system: %v", err)
		}
		t.Skipf("cannot mount a small file system, which needs privileges: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, 0); err != nil {
			t.Error(err)
		}
	})
	return folder
}
