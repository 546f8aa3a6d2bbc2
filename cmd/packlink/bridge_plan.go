package main

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/document"
	"packlink/transport"
	"packlink/transport/modbus"
)

// plan is what a bridge is to do.
type plan struct {
	demo    bool // the demonstration bank
	bank    string
	nominal pack.Decimal // Ah; 0 if the configuration names none
	sources []sourcePlan
	outputs []outputPlan
}

type sourcePlan struct {
	name  string
	from  transport.Endpoint
	table *mapping.Compiled
	open  func(ctx context.Context, tell func(string)) (transport.Receiver, error)
	live  bool     // a bus; else a recording
	speed float64  // of a recording
	poll  bool     // ask for registers
	units []uint32 // to ask
}

type outputPlan struct {
	to       transport.Endpoint
	table    *mapping.Compiled // of an output whose layout a mapping describes
	transmit bool              // an output on a bus may send there
	units    []shownUnit       // of an output of registers or frames
	shows    *document.Node    // of an output of frames: which units, by the configuration
	security *modbus.Security  // of an output with encryption
	every    time.Duration     // of an output that writes lines
	style    string            // of an output that writes lines: "json" or "summary"
}

// The rules of a bridge configuration, beside those of package document.
const (
	ruleEndpoint = "endpoint"
	ruleMapping  = "mapping"
	ruleTwice    = "duplicate"
)

// loadPlan reads a bridge configuration. The error is [document.Problems]:
// every mistake at its place.
func loadPlan(path string) (*plan, error) {
	data, err := document.ReadFile(path)
	if err != nil {
		return nil, unreadable(err, "configuration", "packlink bridge, which needs none: it shows a simulated bank")
	}
	root, file := document.Parse(path, data)
	if root == nil {
		return nil, file.Sorted()
	}
	l := planLoader{file, filepath.Dir(path)}
	p := l.plan(root)
	if err := file.Sorted().Err(); err != nil {
		return nil, err
	}
	return p, nil
}

type planLoader struct {
	*document.File
	folder string // of the configuration: its paths begin there
}

func (l planLoader) plan(root *document.Node) *plan {
	p := &plan{bank: "bank"}
	o := l.Object(root, "a bridge configuration")
	if o == nil {
		return p
	}
	names := make(map[string]bool)
	for _, n := range o.NeedList("sources") {
		source := l.source(n)
		if names[source.name] {
			l.Report(n, ruleTwice, "there are two sources named %q", source.name)
		}
		names[source.name] = true
		l.sourceAlone(n, &source, p)
		p.sources = append(p.sources, source)
	}
	if n := o.Get("bank"); n != nil {
		l.bank(n, p)
	}
	for _, n := range o.NeedList("outputs") {
		output := l.output(n, p.sources)
		l.alone(n, &output, p)
		p.outputs = append(p.outputs, output)
	}
	o.Done()
	return p
}

func (l planLoader) bank(n *document.Node, p *plan) {
	o := l.Object(n, "bank")
	if o == nil {
		return
	}
	p.bank = o.NeedText("name")
	if nominal := o.Get("nominal_ah"); nominal != nil {
		d, err := pack.ParseDecimal(nominal.Text)
		if err != nil || d.Coef <= 0 {
			l.Report(nominal, document.RuleWrongType, "nominal_ah must be a capacity above 0 in Ah, such as 200")
		}
		p.nominal = d
	}
	o.Choice("on_stale", "derate")
	o.Done()
}

func (l planLoader) source(n *document.Node) (s sourcePlan) {
	o := l.Object(n, "a source")
	if o == nil {
		return s
	}
	s.name = o.NeedText("name")
	from := o.Need("from")
	s.from = l.endpoint(from)
	s.table = l.table(o.Need("mapping"))
	s.poll = o.Flag("poll")
	for _, unit := range o.List("addresses") {
		s.units = append(s.units, uint32(l.Int(unit, "an address", 0, math.MaxUint16)))
	}
	o.Done()
	if s.from.Scheme == "" || s.table == nil {
		return s
	}
	l.units(o, &s)
	if s.poll && len(s.units) == 0 && s.table.AsksByAddress() {
		l.Report(n, document.RuleMissingKey, "a source that polls needs \"addresses\", the packs to ask, such as [1, 2]")
	}
	if s.from.Scheme == "capture" && !filepath.IsAbs(s.from.Address) {
		s.from.Address = filepath.Join(l.folder, s.from.Address)
	}
	if err := s.connect(); err != nil {
		l.Report(from, ruleEndpoint, "%v", err)
	}
	return s
}

// units checks the units to ask.
func (l planLoader) units(o *document.Object, s *sourcePlan) {
	n := o.Node.Get("addresses")
	if n != nil && !s.poll {
		l.Report(n, ruleEndpoint, "addresses are for a source that polls: say poll: true, which transmits")
	}
	for i, unit := range s.units {
		if slices.Contains(s.units[:i], unit) {
			l.Report(n, ruleTwice, "unit %d stands twice", unit)
		}
		if bus := s.table.Bus.Registers; bus != nil && !bus.HasUnit(int(unit)) {
			l.Report(n, ruleEndpoint, "mapping %s has units %d to %d, and not %d", s.table.Name, bus.Units[0], bus.Units[1], unit)
		}
		if bus := s.table.Bus.Serial; bus != nil && !bus.HasAddress(uint64(unit)) {
			l.Report(n, ruleEndpoint, "mapping %s has addresses %d to %d, and not %d", s.table.Name, bus.Addresses[0], bus.Addresses[1], unit)
		}
		if s.table.Bus.CAN == nil {
			continue
		}
		if _, err := canQuestions(s.table, []uint32{unit}); err != nil {
			l.Report(n, ruleEndpoint, "mapping %s cannot ask there: %v", s.table.Name, err)
		}
	}
}

func (l planLoader) output(n *document.Node, sources []sourcePlan) (p outputPlan) {
	o := l.Object(n, "an output")
	if o == nil {
		return p
	}
	to := o.Need("to")
	p.to = l.endpoint(to)
	layout := o.Get("mapping")
	p.table = l.table(layout)
	p.transmit = o.Flag("transmit")
	if units := o.Get("units"); units != nil {
		p.units = l.shownUnits(units, modbusUnits, sources)
	}
	p.shows = o.Get("shows")
	o.Done()
	if p.to.Scheme == "" || layout != nil && p.table == nil {
		return p
	}
	if err := p.check(); err != nil {
		l.Report(to, ruleEndpoint, "%v", err)
	} else if p.frames() {
		l.shows(&p, to, sources)
	}
	return p
}

func (l planLoader) endpoint(n *document.Node) transport.Endpoint {
	text := l.Text(n, "an endpoint")
	if text == "" {
		return transport.Endpoint{}
	}
	e, err := transport.ParseEndpoint(text)
	if err != nil {
		l.Report(n, ruleEndpoint, "%v", err)
	}
	for _, name := range []string{"cert", "key", "ca"} {
		if path := e.Options[name]; path != "" && !filepath.IsAbs(path) {
			e.Options[name] = filepath.Join(l.folder, path)
		}
	}
	return e
}

func (l planLoader) table(n *document.Node) *mapping.Compiled {
	reference := l.Text(n, "a mapping")
	if reference == "" {
		return nil
	}
	if name, _, err := mapping.ParseReference(reference); err == nil && strings.ContainsAny(name, `/\`) && !filepath.IsAbs(name) {
		reference = filepath.Join(l.folder, reference)
	}
	table, err := soundMapping(reference)
	if err != nil {
		l.Report(n, ruleMapping, "%s", strings.ReplaceAll(err.Error(), "\n", "\n    "))
		return nil
	}
	return table
}
