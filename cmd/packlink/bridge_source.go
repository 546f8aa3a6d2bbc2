package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"packlink/decode/physics/scenario"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/transport"
)

// busOf are the endpoints that a mapping's bus can be heard on.
func busOf(table *mapping.Compiled) []string {
	switch {
	case table.Bus.CAN != nil:
		return []string{"can", "slcan", "capture", "simulate"}
	case table.Bus.Serial != nil:
		return []string{"serial", "tcp", "capture", "simulate"}
	}
	return []string{"serial", "tcp", "modbus-tcp", "modbus-tls", "capture", "simulate"}
}

// connect finds out how a source's frames are received.
func (s *sourcePlan) connect() error {
	if !slices.Contains(busOf(s.table), s.from.Scheme) {
		return fmt.Errorf("%s: a source of mapping %s begins with %s", s.from, s.table.Name, strings.Join(busOf(s.table), ":, ")+":")
	}
	if s.poll {
		return s.connectPoll()
	}
	if isLive(s.from) {
		s.live = true
		from := withLineOf(s.from, s.table)
		s.open = func(ctx context.Context, tell func(string)) (transport.Receiver, error) {
			return listenTo(ctx, from, tell)
		}
		if strings.HasPrefix(s.from.Scheme, "modbus-") {
			_, err := listenTo(context.Background(), s.from, nil)
			return err
		}
		return nil
	}
	if s.from.Scheme == "simulate" {
		return s.connectSimulation()
	}
	return s.connectCapture()
}

// connectSimulation finds out what a simulated bank says: simulate:two-packs?seed=7.
func (s *sourcePlan) connectSimulation() error {
	if err := s.from.Allow("speed", "seed"); err != nil {
		return err
	}
	plan, err := scenario.Load(s.from.Address)
	if err != nil {
		return fmt.Errorf("%s: %w", s.from, err)
	}
	if text, given := s.from.Options["seed"]; given {
		if plan.Seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			return fmt.Errorf("%s: seed must be a whole number", s.from)
		}
	}
	if s.speed, err = speedOf(s.from); err != nil {
		return err
	}
	if _, err := simulate.New(s.table, plan, 0, simulate.Wire{}); err != nil {
		return fmt.Errorf("%s: %w", s.from, err)
	}
	s.open = func(ctx context.Context, _ func(string)) (transport.Receiver, error) {
		traffic, err := simulate.New(s.table, plan, time.Now().UnixNano(), simulate.Wire{})
		if err != nil {
			return nil, err
		}
		context.AfterFunc(ctx, func() { _ = traffic.Close() }) // ends a Receive that waits
		return traffic, nil
	}
	return nil
}

// speedOf is the speed that an endpoint is played with, 1 if it says none.
func speedOf(e transport.Endpoint) (float64, error) {
	text, given := e.Options["speed"]
	if !given {
		return 1, nil
	}
	speed, ok := parseSpeed(text)
	if !ok {
		return 0, fmt.Errorf("%s: speed must be a number above 0, such as 10, and at most %d", e, fastest)
	}
	return speed, nil
}

func (s *sourcePlan) connectPoll() error {
	registers := s.table.Bus.Registers
	switch {
	case !isLive(s.from):
		return fmt.Errorf("%s: a recording cannot be polled", s.from)
	case registers == nil && !s.table.HasQuestions():
		return fmt.Errorf("%s: mapping %s has no questions: its packs speak unasked; leave poll out", s.from, s.table.Name)
	}
	s.live = true
	from := withLineOf(s.from, s.table)
	s.open = func(ctx context.Context, tell func(string)) (transport.Receiver, error) {
		return ask(ctx, from, s.table, s.units, tell)
	}
	return nil
}

func (s *sourcePlan) connectCapture() error {
	if err := s.from.Allow("speed", "loop"); err != nil {
		return err
	}
	var err error
	if s.speed, err = speedOf(s.from); err != nil {
		return err
	}
	path := s.from.Address
	once := func() (transport.Receiver, error) { return openCapture(path) }
	r, err := once()
	if err != nil {
		return err
	}
	err = s.checkMedium(r)
	if closed := r.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	switch s.from.Options["loop"] {
	case "", "false":
		s.open = recorded(once)
	case "true":
		s.open = recorded(func() (transport.Receiver, error) { return newLoop(once) })
	default:
		return fmt.Errorf("%s: loop must be true or false", s.from)
	}
	return nil
}

// framesOfMedium is how far a recording is looked into for a frame of the right bus.
const framesOfMedium = 5000

// checkMedium refuses a recording of another kind of bus than the mapping's.
func (s *sourcePlan) checkMedium(r transport.Receiver) error {
	want := mediumOf(s.table)
	in, f, other := patient{Receiver: r}, transport.Frame{}, false
	for range framesOfMedium {
		if err := in.Receive(&f); err != nil {
			break // the end, or what the playing will say
		}
		if f.Medium == want {
			return nil
		}
		other = true
	}
	if !other {
		return nil
	}
	return fmt.Errorf("%s is a recording of a %s bus, and mapping %s is of a %s bus; packlink identify says which mapping explains it",
		s.from, f.Medium, s.table.Name, want)
}

// recorded opens a recording, which has no transitions to tell of.
func recorded(open func() (transport.Receiver, error)) func(context.Context, func(string)) (transport.Receiver, error) {
	return func(context.Context, func(string)) (transport.Receiver, error) { return open() }
}
