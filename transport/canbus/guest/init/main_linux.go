// Init is the first and only process of the guest that the harness starts: it
// sets the machine up, runs the job's commands and ends the machine with the
// verdict.
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"

	"golang.org/x/sys/unix"

	"packlink/transport/canbus/guest/job"
	"packlink/transport/canbus/guest/link"
)

// verdictPort is the port of QEMU's isa-debug-exit device.
const verdictPort = 0xf4

func main() {
	j, err := prepare()
	fmt.Println(job.Up)
	passed := err == nil
	if err != nil {
		fmt.Println("guest:", err)
	}
	for _, c := range j.Commands {
		passed = run(c) && passed
	}
	end(passed)
}

// prepare makes the machine ready. The job is empty if that fails.
func prepare() (job.Job, error) {
	if err := mountAll(); err != nil {
		return job.Job{}, err
	}
	plainConsole()
	var j job.Job
	text, err := os.ReadFile(job.Path)
	if err != nil {
		return job.Job{}, err
	}
	if err := json.Unmarshal(text, &j); err != nil {
		return job.Job{}, fmt.Errorf("%s: %w", job.Path, err)
	}
	for _, path := range j.Modules {
		if err := load(path); err != nil {
			return job.Job{}, err
		}
	}
	return j, interfaces()
}

func mountAll() error {
	for _, m := range []struct{ what, where string }{
		{"proc", "/proc"}, {"sysfs", "/sys"}, {"devtmpfs", "/dev"}, {"devpts", "/dev/pts"}, {"tmpfs", "/tmp"},
	} {
		if err := os.MkdirAll(m.where, 0o755); err != nil {
			return err
		}
		if err := unix.Mount(m.what, m.where, m.what, 0, ""); err != nil {
			return fmt.Errorf("mount %s: %w", m.where, err)
		}
	}
	return nil
}

// plainConsole stops the console from adding carriage returns. Without it the
// text only looks worse.
func plainConsole() {
	settings, err := unix.IoctlGetTermios(1, unix.TCGETS)
	if err != nil {
		return
	}
	settings.Oflag &^= unix.OPOST
	if err := unix.IoctlSetTermios(1, unix.TCSETS, settings); err != nil {
		fmt.Println("guest: console:", err)
	}
}

// load loads a kernel module.
func load(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	if err := unix.FinitModule(int(file.Fd()), "", 0); err != nil {
		return fmt.Errorf("load %s: %w", path, err)
	}
	return nil
}

// fdMTU is the maximum transfer unit of a CAN FD interface (CANFD_MTU).
const fdMTU = 72

// interfaces makes the two virtual CAN interfaces, and raises the loopback.
func interfaces() error {
	for _, name := range []string{"vcan0", "vcan1"} {
		if err := link.Add(name, "vcan", fdMTU); err != nil {
			return err
		}
		if err := link.Up(name); err != nil {
			return err
		}
	}
	return link.Up("lo")
}

func run(c job.Command) bool {
	command := exec.Command(c.Args[0], c.Args[1:]...)
	command.Dir, command.Env = c.Folder, c.Env
	command.Stdout, command.Stderr = os.Stdout, os.Stderr
	if err := command.Run(); err != nil {
		fmt.Printf("guest: %s: %v\n", c.Args[0], err)
		return false
	}
	return true
}

// end stops the machine at once.
func end(passed bool) {
	verdict := byte(job.Failed >> 1)
	if passed {
		verdict = job.Passed >> 1
	}
	unix.Sync()
	port, err := os.OpenFile("/dev/port", os.O_WRONLY, 0)
	if err == nil {
		_, err = port.WriteAt([]byte{verdict}, verdictPort)
	}
	fmt.Println("guest: the verdict cannot be given:", err)
	if err := unix.Reboot(unix.LINUX_REBOOT_CMD_RESTART); err != nil {
		fmt.Println("guest:", err)
	}
}
