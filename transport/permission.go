package transport

import "fmt"

// PermissionAdvice says in words who may open a port that this user may not, and
// gives a command: the one that makes the user a member of the port's group, where
// its members may use it, else one that shows who may.
func PermissionAdvice(path string) (detail, try string) {
	group, shared := groupOf(path)
	if group == "" || !shared {
		return "you may not open the port", "ls -l " + path
	}
	return fmt.Sprintf("you may not open the port: it is for members of the group %s", group),
		fmt.Sprintf("sudo usermod -aG %s $USER, and log in again", group)
}
