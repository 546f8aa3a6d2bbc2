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
  -in FOLDER        its working directory, below the root of the repository
  -put HOST[=GUEST] a file or folder to have there; GUEST is below the root too, and as HOST by default
  -env NAME[=VALUE] a variable of its environment; without a value, that of the host`

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "guest:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	p, err := parse(args)
	if err != nil {
		return err
	}
	root, err := repository()
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

// repository is the folder above that holds go.mod.
func repository() (string, error) {
	folder, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for at := folder; ; at = filepath.Dir(at) {
		if _, err := os.Stat(filepath.Join(at, "go.mod")); err == nil {
			return at, nil
		}
		if at == filepath.Dir(at) {
			return "", fmt.Errorf("%s: no go.mod here nor above: run this inside the repository", folder)
		}
	}
}
