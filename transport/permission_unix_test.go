//go:build unix

package transport

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPermissionAdvice names the group of a port that its members may use, and no
// group where membership would not help.
func TestPermissionAdvice(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	group, _ := groupOf(path)
	for mode, want := range map[os.FileMode]string{0o600: "ls -l " + path, 0o620: "ls -l " + path, 0o660: "sudo usermod -aG " + group + " $USER, and log in again"} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		if detail, try := PermissionAdvice(path); try != want || strings.Contains(detail, "group "+group) != (mode == 0o660) {
			t.Errorf("%v: %s, try %s; want %s", mode, detail, try, want)
		}
	}
}
