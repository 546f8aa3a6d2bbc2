//go:build unix

package transport

import (
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// groupOf is the name of the group a file belongs to, and whether its members
// may read and write it. The name is empty if it cannot be found out.
func groupOf(path string) (name string, shared bool) {
	info, err := os.Stat(path)
	if err != nil {
		return "", false
	}
	owner, is := info.Sys().(*syscall.Stat_t)
	if !is {
		return "", false
	}
	group, err := user.LookupGroupId(strconv.FormatUint(uint64(owner.Gid), 10))
	if err != nil {
		return "", false
	}
	return group.Name, info.Mode().Perm()&0o060 == 0o060
}
