// Guest runs test binaries on a Linux kernel that has CAN, whatever the host's
// kernel has: it boots a stock Debian kernel in a machine that QEMU emulates,
// with the virtual interfaces vcan0 and vcan1. It serves as go test -exec:
//
//	CGO_ENABLED=0 go test -exec 'go run packlink/transport/canbus/guest' ./transport/canbus
package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

const usage = `usage: guest [flags] BINARY [arguments] [-- [flags] BINARY [arguments]]...
  BINARY is a static test binary; several run one after another in one boot
  -in FOLDER        its working directory, below the root of the repository; the current one by default,
                    whose testdata goes into the guest
  -put HOST[=GUEST] a file or folder to have there; GUEST is below the root too, and as HOST by default
  -env NAME[=VALUE] a variable of its environment; without a value, that of the host`

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "guest:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	root, folder, err := repository()
	if err != nil {
		return err
	}
	p, err := parse(args, folder)
	if err != nil {
		return err
	}
	cache := filepath.Join(root, ".ci", "cache", "guest")
	kernelFolder, err := kernel(cache)
	if err != nil {
		return err
	}
	work, err := os.MkdirTemp("", "guest-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	tree := filepath.Join(work, "tree")
	if err := buildTree(tree, p, cache, kernelFolder); err != nil {
		return err
	}
	return boot(kernelFolder, tree, os.Stdout)
}

func buildTree(tree string, p plan, cache, kernelFolder string) error {
	init, err := compileInit(filepath.Dir(tree))
	if err != nil {
		return err
	}
	file, err := os.Create(tree)
	if err != nil {
		return err
	}
	return errors.Join(pack(file, p, cache, kernelFolder, init), file.Close())
}

// repository is the folder above that holds go.mod, and where below it the
// current folder is.
func repository() (root, folder string, err error) {
	here, err := os.Getwd()
	if err != nil {
		return "", "", err
	}
	for root = here; ; root = filepath.Dir(root) {
		if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
			folder, err = filepath.Rel(root, here)
			return root, filepath.ToSlash(folder), err
		}
		if root == filepath.Dir(root) {
			return "", "", fmt.Errorf("%s: no go.mod here nor above: run this inside the repository", here)
		}
	}
}
