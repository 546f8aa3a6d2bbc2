package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"packlink/transport/canbus/guest/job"
)

// patience is how long the guest may run in all.
const patience = 15 * time.Minute

// pack writes the guest's file tree.
func pack(w io.Writer, p plan, cache, kernelFolder, init string) error {
	a, err := newArchive(w)
	if err != nil {
		return err
	}
	files, err := peerFiles(cache)
	if err != nil {
		return err
	}
	files["/init"] = init
	j := job.Job{Commands: p.commands}
	for _, module := range modules {
		where := "/modules/" + filepath.Base(module) + ".ko"
		files[where] = modulePath(kernelFolder, module)
		j.Modules = append(j.Modules, where)
	}
	for where, from := range p.files {
		if from != testdata || isFolder(from) {
			files[where] = from
		}
	}
	text, err := json.Marshal(j)
	if err != nil {
		return err
	}
	a.entry("/dev/console", deviceMode, nil)
	a.entry(job.Path, programMode, text)
	for _, c := range p.commands {
		a.folder(c.Folder)
	}
	for where, from := range files {
		if err := a.put(where, from); err != nil {
			return err
		}
	}
	return a.close()
}

// boot runs the guest and copies what it prints from the moment it is up. What
// the kernel printed before stands in the error if the guest does not get there.
func boot(kernelFolder, tree string, out io.Writer) error {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	machine := exec.CommandContext(ctx, "qemu-system-x86_64", "-nodefaults", "-display", "none", "-no-reboot",
		"-accel", "tcg", "-m", "256", "-serial", "stdio", "-device", "isa-debug-exit,iobase=0xf4,iosize=0x04",
		"-kernel", filepath.Join(kernelFolder, "vmlinux"), "-initrd", tree, "-append", "console=ttyS0 quiet panic=-1")
	var complaint bytes.Buffer
	machine.Stderr = &complaint
	console, err := machine.StdoutPipe()
	if err != nil {
		return err
	}
	if err := machine.Start(); err != nil {
		return fmt.Errorf("%w\ntry: apt-get install --no-install-recommends qemu-system-x86", err)
	}
	kernelSaid, up := relay(console, out)
	err = machine.Wait()
	if ctx.Err() != nil {
		err = fmt.Errorf("not done after %s", patience)
	}
	if !up {
		return fmt.Errorf("the guest does not boot: %w: %s%s", err, kernelSaid, complaint.String())
	}
	return verdict(err)
}

// relay copies the lines after the one that says that the guest is up, and
// keeps those before.
func relay(console io.Reader, out io.Writer) (before string, up bool) {
	var kept strings.Builder
	lines := bufio.NewReader(console)
	for {
		line, err := lines.ReadString('\n')
		line = strings.ReplaceAll(line, "\r\n", "\n")
		switch {
		case up:
			fmt.Fprint(out, line)
		case strings.TrimSpace(line) == job.Up:
			up = true
		default:
			kept.WriteString(line)
		}
		if err != nil {
			return kept.String(), up
		}
	}
}

// verdict reads the exit status of the machine. An end without a verdict, such
// as after a kernel's panic, is 0 and is a failure.
func verdict(err error) error {
	var exit *exec.ExitError
	switch {
	case err == nil:
		return errors.New("the guest ended without a verdict")
	case !errors.As(err, &exit):
		return err
	case exit.ExitCode() == job.Passed:
		return nil
	case exit.ExitCode() == job.Failed:
		return errors.New("a command failed in the guest")
	}
	return fmt.Errorf("the machine failed: %w", err)
}

// compileInit builds the guest's init.
func compileInit(folder string) (string, error) {
	program := filepath.Join(folder, "init")
	build := exec.Command("go", "build", "-o", program, "packlink/transport/canbus/guest/init")
	build.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64")
	if text, err := build.CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, text)
	}
	return program, nil
}
