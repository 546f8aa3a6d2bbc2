// Package job says what the guest is to run: the file that the host puts into
// the guest and that the guest's init reads.
package job

// Path is where the job lies in the guest, as JSON.
const Path = "/job.json"

// Root is the folder of the guest that stands for the root of the repository.
const Root = "/repo"

// Marker is the environment variable that tells a test that it runs in the
// guest, where nothing may be skipped.
const Marker = "PACKLINK_GUEST"

// Up is the line that the guest writes when it has booted: what stands before it
// comes from the kernel.
const Up = "guest: up"

// The exit statuses of the machine. It computes them from the byte written to
// its exit port: twice the byte and one (QEMU, isa-debug-exit).
const (
	Passed = 33
	Failed = 35
)

// Job is what the guest runs.
type Job struct {
	Modules  []string // paths of kernel modules in the guest, in the order to load them
	Commands []Command
}

// Command is one program to run in the guest.
type Command struct {
	Folder string   // the working directory
	Args   []string // the program and its arguments
	Env    []string // NAME=VALUE
}
