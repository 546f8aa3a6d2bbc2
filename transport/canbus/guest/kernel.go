package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
)

// modules are the kernel modules of the guest, in the order to load them.
var modules = []string{"net/can/can", "net/can/can-raw", "drivers/net/can/dev/can-dev", "drivers/net/can/vcan", "drivers/net/can/slcan/slcan"}

// kernel gives the folder that holds an unpacked kernel package, and fetches it
// if the cache has none.
func kernel(cache string) (string, error) {
	found, err := filepath.Glob(filepath.Join(cache, "linux-image-6.1.0-*-amd64", "vmlinux"))
	if err != nil {
		return "", err
	}
	if len(found) > 0 {
		return filepath.Dir(found[len(found)-1]), nil
	}
	name, err := kernelPackage()
	if err != nil {
		return "", err
	}
	return unpack(cache, name, keepNeeded)
}

// keepNeeded leaves the kernel and the modules that the guest loads, side by side,
// of a package that is 400 MB large.
func keepNeeded(folder string) error {
	if err := carve(folder); err != nil {
		return err
	}
	for _, module := range modules {
		found, err := filepath.Glob(filepath.Join(folder, "lib", "modules", "*", "kernel", module+".ko"))
		if err != nil || len(found) != 1 {
			return fmt.Errorf("the package has %d modules %s: %w", len(found), module, err)
		}
		if err := os.Rename(found[0], modulePath(folder, module)); err != nil {
			return err
		}
	}
	for _, part := range []string{"boot", "lib", "usr"} {
		if err := os.RemoveAll(filepath.Join(folder, part)); err != nil {
			return err
		}
	}
	return nil
}

// modulePath is where keepNeeded puts a module.
func modulePath(folder, module string) string {
	return filepath.Join(folder, filepath.Base(module)+".ko")
}

// kernelPackage is the name of the newest stock kernel.
func kernelPackage() (string, error) {
	text, err := output("apt-cache", "depends", "linux-image-amd64")
	if err != nil {
		return "", err
	}
	name := regexp.MustCompile(`linux-image-6\.1\.0-\d+-amd64\b`).FindString(text)
	if name == "" {
		return "", fmt.Errorf("apt-cache depends linux-image-amd64 names no linux-image-6.1.0-*-amd64, but says: %s", text)
	}
	return name, nil
}

// unpack downloads a Debian package without installing it, and unpacks it in the
// cache. The folder appears under its name when it is complete.
func unpack(cache, name string, finish func(folder string) error) (string, error) {
	if err := os.MkdirAll(cache, 0o755); err != nil {
		return "", err
	}
	work, err := os.MkdirTemp(cache, "unpack-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(work)
	fetch := exec.Command("apt-get", "download", "-qq", "-o", "APT::Sandbox::User=root", name)
	fetch.Dir = work
	if text, err := fetch.CombinedOutput(); err != nil {
		return "", fmt.Errorf("download of %s: %w: %s", name, err, text)
	}
	packages, err := filepath.Glob(filepath.Join(work, "*.deb"))
	if err != nil || len(packages) != 1 {
		return "", fmt.Errorf("download of %s gave %d packages: %w", name, len(packages), err)
	}
	tree := filepath.Join(work, "tree")
	if _, err := output("dpkg-deb", "-x", packages[0], tree); err != nil {
		return "", err
	}
	if err := finish(tree); err != nil {
		return "", err
	}
	folder := filepath.Join(cache, name)
	if err := os.Rename(tree, folder); err != nil && !isFolder(folder) {
		return "", err
	}
	return folder, nil
}

func isFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}

// xzMagic begins an xz stream (the .xz file format, section 2.1.1.1).
var xzMagic = []byte{0xFD, '7', 'z', 'X', 'Z', 0}

// carve takes the kernel proper, an ELF file, out of its compressed image, as
// QEMU boots that one directly.
func carve(folder string) error {
	images, err := filepath.Glob(filepath.Join(folder, "boot", "vmlinuz-*"))
	if err != nil || len(images) != 1 {
		return fmt.Errorf("the package has %d kernel images: %w", len(images), err)
	}
	image, err := os.ReadFile(images[0])
	if err != nil {
		return err
	}
	start := bytes.Index(image, xzMagic)
	if start < 0 {
		return errors.New("the kernel image holds no xz stream")
	}
	unxz := exec.Command("xz", "-dc", "--single-stream")
	unxz.Stdin = bytes.NewReader(image[start:])
	elf, err := unxz.Output()
	if err != nil {
		return fmt.Errorf("xz: %w", err)
	}
	if !bytes.HasPrefix(elf, []byte("\x7fELF")) {
		return errors.New("the kernel image holds something else than an ELF file")
	}
	return os.WriteFile(filepath.Join(folder, "vmlinux"), elf, 0o644)
}

// output runs a program and gives what it wrote; what it wrote on the side of
// errors stands in the error.
func output(name string, args ...string) (string, error) {
	var complaint strings.Builder
	command := exec.Command(name, args...)
	command.Stderr = &complaint
	text, err := command.Output()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w: %s", name, strings.Join(args, " "), err, complaint.String())
	}
	return string(text), nil
}
