//go:build linux

package serialbus

import (
	"os"
	"runtime"
	"syscall"
	"testing"
)

// asNobody runs f without the rights of the superuser, who may open everything. Only
// one thread loses them, and it ends with its goroutine.
func asNobody(t *testing.T, f func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		f()
		return
	}
	done := make(chan error)
	go func() {
		runtime.LockOSThread()
		const unchanged = ^uintptr(0)
		_, _, fault := syscall.RawSyscall(syscall.SYS_SETGROUPS, 0, 0, 0)
		if fault == 0 {
			_, _, fault = syscall.RawSyscall(syscall.SYS_SETRESGID, unchanged, 65534, unchanged)
		}
		if fault == 0 {
			_, _, fault = syscall.RawSyscall(syscall.SYS_SETRESUID, unchanged, 65534, unchanged)
		}
		if fault != 0 {
			done <- fault
			return
		}
		f()
		done <- nil
	}()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}
