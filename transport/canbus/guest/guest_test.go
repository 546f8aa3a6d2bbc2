package main

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"packlink/transport/canbus/guest/job"
)

func TestPlan(t *testing.T) {
	t.Setenv("CAN_COLOUR", "blue")
	p, err := parse(strings.Fields("-put a/b -put /c=d -env CAN_COLOUR -env X=1 /bin/one.test -test.v -test.testlogfile=/gone -x "+
		"-- -in cmd/packlink two.test -- three.test"), "transport/canbus")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range p.commands {
		got = append(got, c.Folder+": "+strings.Join(c.Args, " "))
	}
	want := []string{
		"/repo/transport/canbus: /test/0-one.test -test.v -x",
		"/repo/cmd/packlink: /test/1-two.test",
		"/repo/transport/canbus: /test/2-three.test",
	}
	if !slices.Equal(got, want) {
		t.Errorf("commands %q, want %q", got, want)
	}
	env := p.commands[0].Env
	for _, item := range []string{"CAN_COLOUR=blue", "X=1", job.Marker + "=1"} {
		if !slices.Contains(env, item) {
			t.Errorf("environment %q has no %s", env, item)
		}
	}
	for where, from := range map[string]string{"/repo/a/b": "a/b", "/repo/d": "/c", "/test/1-two.test": "two.test"} {
		if p.files[where] != from {
			t.Errorf("%s comes from %q, want %q", where, p.files[where], from)
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	for _, args := range []string{"", "--", "-in cmd", "-colour blue one.test", "one.test -- -put", "one.test -- -- two.test"} {
		if p, err := parse(strings.Fields(args), "."); err == nil {
			t.Errorf("%q is taken: %+v", args, p)
		}
	}
}

// TestVerdict reads exit statuses of the machine: only one says that all passed.
func TestVerdict(t *testing.T) {
	for status := range 40 {
		err := exec.Command("sh", "-c", "exit "+strconv.Itoa(status)).Run()
		if got := verdict(err); (got == nil) != (status == job.Passed) {
			t.Errorf("status %d: %v", status, got)
		}
	}
	if verdict(errors.New("not done after 15m")) == nil {
		t.Error("a time-out passes")
	}
}

func TestRelay(t *testing.T) {
	var out bytes.Buffer
	before, up := relay(strings.NewReader("kernel: one\r\nkernel: two\r\n"+job.Up+"\r\nPASS\r\nlast"), &out)
	if !up || before != "kernel: one\nkernel: two\n" || out.String() != "PASS\nlast" {
		t.Errorf("%t, %q, %q", up, before, out.String())
	}
	out.Reset()
	if before, up := relay(strings.NewReader("Kernel panic\r\n"), &out); up || before != "Kernel panic\n" || out.Len() > 0 {
		t.Errorf("%t, %q, %q", up, before, out.String())
	}
}

// TestArchive writes an archive and walks through it by the layout of newc: 13
// numbers of 8 digits, the name, the data, each padded to four bytes.
func TestArchive(t *testing.T) {
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "three"), []byte("333"), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	a, err := newArchive(&out)
	if err != nil {
		t.Fatal(err)
	}
	a.entry("/dev/console", deviceMode, nil)
	if err := errors.Join(a.put("/repo/x", folder), a.put("/repo/x", folder), a.close()); err != nil {
		t.Fatal(err)
	}
	unpacked, err := gzip.NewReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(unpacked)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"dev 40755 ", "dev/console 20600 ", "repo 40755 ", "repo/x 40755 ", "repo/x/three 100755 333", "TRAILER!!! 0 "}
	if got := entries(t, b); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

func entries(t *testing.T, b []byte) (all []string) {
	t.Helper()
	take := func(n int) []byte {
		if n > len(b) {
			t.Fatalf("the archive is cut: %d of %d bytes", len(b), n)
		}
		taken := b[:n]
		b = b[n:]
		return taken
	}
	for len(b) > 0 {
		head := string(take(110))
		number := func(i int) int {
			n, err := strconv.ParseUint(head[6+8*i:14+8*i], 16, 32)
			if err != nil || head[:6] != "070701" {
				t.Fatalf("a head of %q", head)
			}
			return int(n)
		}
		name := take(number(11) + (-(110 + number(11)) & 3))
		data := take(number(6) + (-number(6) & 3))
		all = append(all, fmt.Sprintf("%s %o %s", name[:number(11)-1], number(1), data[:number(6)]))
	}
	return all
}
