package decode_test

import (
	"errors"
	"slices"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

const second = int64(1_000_000_000)

// charge is a frame that says a state of charge, at a time in nanoseconds.
func charge(at int64, soc byte) transport.Frame {
	return transport.Frame{Time: at, Medium: transport.CAN, ID: 0x355, Data: []byte{soc, 0, 99, 0}}
}

// sampled runs frames through a sampler and returns the instants of its
// samples in nanoseconds, and the state of charge of each.
func sampled(t *testing.T, every int64, frames ...transport.Frame) (instants, socs []int64, s *decode.Sampler) {
	t.Helper()
	s = decode.NewSampler(compiled(t, "storage-can-35x"), every, func(int) string { return "bus" }, func(status *pack.Status) error {
		instants = append(instants, status.Now)
		socs = append(socs, status.Value(pack.SOC).Coef)
		return nil
	})
	for i := range frames {
		if err := s.Frame(&frames[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Finish(); err != nil {
		t.Fatal(err)
	}
	return instants, socs, s
}

func want(t *testing.T, what string, got []int64, want ...int64) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func TestSamplesAtWholeMultiplesAndAtTheEnd(t *testing.T) {
	instants, socs, _ := sampled(t, second, charge(10*second+1, 50), charge(11*second, 51), charge(11*second+1, 52), charge(13*second+5, 53))
	want(t, "instants", instants, 11*second, 12*second, 13*second, 13*second+5)
	want(t, "a frame at the instant itself counts", socs, 51, 52, 52, 53)
}

func TestSampleAfterEachMessage(t *testing.T) {
	instants, socs, _ := sampled(t, 0, charge(7, 50), charge(9, 51), transport.Frame{Time: 10, Medium: transport.CAN, ID: 0x123}, charge(9, 52))
	want(t, "instants never go back", instants, 7, 9, 10)
	want(t, "states of charge", socs, 50, 51, 52)
}

func TestGapGivesNoStaleSamples(t *testing.T) {
	instants, _, _ := sampled(t, second, charge(0, 50), charge(3_000_000*second+7, 51))
	want(t, "instants", instants, 0, second, 2*second, 3*second, 3_000_000*second+7)
}

func TestClockSetBackForgets(t *testing.T) {
	instants, _, s := sampled(t, second, charge(100*second, 50), charge(101*second+1, 51), charge(5*second, 60), charge(6*second+1, 61))
	want(t, "instants", instants, 100*second, 101*second, 5*second, 6*second, 6*second+1)
	if s.Rewinds() != 1 {
		t.Errorf("%d rewinds, want 1", s.Rewinds())
	}
}

func TestSlightDisorderIsNoRewind(t *testing.T) {
	_, _, s := sampled(t, second, charge(100*second, 50), charge(99*second, 51), charge(101*second, 52))
	if s.Rewinds() != 0 {
		t.Errorf("%d rewinds, want none", s.Rewinds())
	}
}

func TestHostileTimesEnd(t *testing.T) {
	const last = 1<<63 - 1
	instants, _, _ := sampled(t, second, charge(1, 50), charge(last, 51), charge(last, 52))
	if len(instants) > 6 {
		t.Errorf("%d samples", len(instants))
	}
}

func TestEachChannelIsItsOwnSource(t *testing.T) {
	left, right := charge(second, 50), charge(second, 70)
	right.Channel = 1
	_, socs, s := sampled(t, second, left, right)
	want(t, "states of charge", socs, 50, 70)
	if len(s.Decoders()) != 2 {
		t.Errorf("%d decoders, want 2", len(s.Decoders()))
	}
}

func TestEmitErrorEndsTheWork(t *testing.T) {
	full := errors.New("no room")
	s := decode.NewSampler(compiled(t, "storage-can-35x"), second, func(int) string { return "bus" }, func(*pack.Status) error { return full })
	first, later := charge(1, 50), charge(2*second, 50)
	if err := s.Frame(&first); err != nil {
		t.Fatal(err)
	}
	if err := s.Frame(&later); !errors.Is(err, full) {
		t.Errorf("got %v, want %v", err, full)
	}
	if err := s.Finish(); !errors.Is(err, full) {
		t.Errorf("at the end: got %v, want %v", err, full)
	}
}
