// Package scenario reads scenario files, which say of a bank what it is made of
// and what is asked of it, and holds the built-in ones. docs/simulation.md
// describes the format.
package scenario

import (
	"embed"
	"fmt"
	"path"
	"slices"
	"strings"

	"packlink/decode/physics"
	"packlink/mapping/document"
)

//go:embed *.yaml
var files embed.FS

// Names are the names of the built-in scenarios, in order.
func Names() []string {
	entries, _ := files.ReadDir(".")
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), ".yaml")
	}
	slices.Sort(names)
	return names
}

// Load reads the scenario that a reference names: a built-in name, or the path
// of a file, which has a slash or an ending.
func Load(reference string) (*physics.Scenario, error) {
	if strings.ContainsAny(reference, `/\`) || path.Ext(reference) != "" {
		data, err := document.ReadFile(reference)
		if err != nil {
			return nil, err
		}
		return Read(reference, data)
	}
	file := reference + ".yaml"
	data, err := files.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("no built-in scenario is called %q; there are %s, and a file of your own is named by its path, such as ./%s.yaml", reference, strings.Join(Names(), ", "), reference)
	}
	return Read(file, data)
}

// The rules that a scenario file obeys, beside those of package document.
const (
	RuleRange = "range"     // a number lies beyond what can be simulated
	RuleTwice = "duplicate" // two packs have one address
)

// Read reads a scenario file; name is how problems call it. The error is a
// [document.Problems].
func Read(name string, data []byte) (*physics.Scenario, error) {
	root, f := document.Parse(name, data)
	if root == nil {
		return nil, f.Sorted().Err()
	}
	s := &physics.Scenario{}
	if o := f.Object(root, "a scenario"); o != nil {
		readScenario(&reader{o}, s)
	}
	if err := f.Sorted().Err(); err != nil {
		return nil, err
	}
	return s, nil
}

func readScenario(r *reader, s *physics.Scenario) {
	r.NeedInt("packlink", 1, 1)
	s.Name = r.NeedText("name")
	s.Title = r.NeedText("title")
	s.Seed = uint64(r.Int("seed", 0, 0, 1<<62))
	s.Ambient = 20
	r.number("ambient_c", &s.Ambient, -60, 80)
	r.number("swing_c", &s.Swing, 0, 40)
	packs := r.NeedList("packs")
	if len(packs) > physics.MaxPacks {
		r.File.Report(packs[physics.MaxPacks], RuleRange, "a bank has at most %d packs", physics.MaxPacks)
		return
	}
	taken := make(map[uint32]int)
	for i, n := range packs {
		if o := r.File.Object(n, "a pack"); o != nil {
			d := readPack(&reader{o}, i+1)
			if first := taken[d.Address]; first > 0 {
				r.File.Report(n, RuleTwice, "pack %d has the address %d, and so has pack %d", i+1, d.Address, first)
			}
			taken[d.Address] = i + 1
			s.Packs = append(s.Packs, d)
		}
	}
	for _, n := range r.NeedList("profile") {
		if o := r.File.Object(n, "a phase"); o != nil {
			s.Phases = append(s.Phases, readPhase(&reader{o}))
		}
	}
	s.Repeat = r.Flag("repeat")
	r.Done()
}
