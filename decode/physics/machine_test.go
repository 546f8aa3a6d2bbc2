package physics

import (
	"crypto/sha256"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"testing"
	"time"

	"packlink/fixtures/beside"
)

// TestNothingIsFused compiles for a processor that can multiply and add at once,
// and holds that the compiler uses that nowhere: the result would be another
// than on a processor that cannot.
func TestNothingIsFused(t *testing.T) {
	compile := exec.Command("go", "build", "-gcflags=-S", ".")
	compile.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	listing, err := compile.CombinedOutput()
	if err != nil {
		beside.Missing(t, "the go command does not compile for arm64: ", err, "\n", string(listing))
	}
	if !regexp.MustCompile(`\sFMULD\s`).Match(listing) {
		t.Fatal("the listing shows no multiplication")
	}
	for _, line := range regexp.MustCompile(`(?m)^.*\sFN?M(ADD|SUB)[DS]\s.*$`).FindAll(listing, -1) {
		t.Errorf("fused: %s", line)
	}
}

// TestSameEverywhere holds what a scenario with everything in it gives to what
// it gave on the machine where it was written (amd64).
func TestSameEverywhere(t *testing.T) {
	cold, weak := Typical(16, 100), Typical(15, 80)
	weak.Weak, weak.Meter = []WeakCell{{4, 3, 0.9}}, CurrentMeter{0.99, 0.1}
	b := mustBank(t, &Scenario{
		Seed: 7, Ambient: 6, Swing: 8, Packs: []Design{cold, weak},
		Phases: []Phase{{time.Hour, Current{-20, -120}}, {time.Hour, Charge{Amperes: 60}}, {time.Hour, Power{-1500}}, {6 * time.Hour, Day{4000, 500, time.Hour, 5 * time.Hour}}},
	})
	sum := sha256.New()
	for range 9 * 60 {
		b.Step(time.Minute)
		fmt.Fprint(sum, records(b))
	}
	const want = "1c111ee6f841bddb"
	if got := fmt.Sprintf("%x", sum.Sum(nil))[:16]; got != want {
		t.Errorf("the records sum up to %s, and were %s", got, want)
	}
}
