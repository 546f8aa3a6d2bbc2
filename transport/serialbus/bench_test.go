//go:build linux

package serialbus

import (
	"syscall"
	"testing"
	"time"

	"packlink/transport"
)

// cpu is the processor time that this process has used.
func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// reportLoad reports the share of one core that was used meanwhile.
func reportLoad(b *testing.B, meanwhile func()) {
	before, begun := cpu(b), time.Now()
	meanwhile()
	b.ReportMetric(100*float64(cpu(b)-before)/float64(time.Since(begun)), "%core")
}

// BenchmarkIdleListener is a listener on a line where nothing happens: run it with
// -benchtime 20x, each turn is a second.
func BenchmarkIdleListener(b *testing.B) {
	far := plug(b, "")
	listen(b, "serial:"+far.port)
	reportLoad(b, func() { time.Sleep(time.Duration(b.N) * time.Second) })
}

// BenchmarkIdlePoller asks one unit for 40 registers once a second, each turn being a
// second; the unit's half of the work is in the figure.
func BenchmarkIdlePoller(b *testing.B) {
	far := plug(b, "")
	scripted(b, far, func(_ int, frame []byte) { far.Write(answerTo(frame)) })
	plan := onePlan()
	plan.Blocks[0].Count = 40
	poll(b, "serial:"+far.port, plan)
	reportLoad(b, func() { time.Sleep(time.Duration(b.N) * time.Second) })
}

// BenchmarkPoll is one exchange of 40 registers over a pty, as fast as it goes; the unit's
// half of the work, and the quiet time of 1.75 ms, are in the figure.
func BenchmarkPoll(b *testing.B) {
	far := plug(b, "")
	scripted(b, far, func(_ int, frame []byte) { far.Write(answerTo(frame)) })
	plan := onePlan()
	plan.Blocks[0].Count, plan.Blocks[0].Every = 40, time.Nanosecond
	p, err := TransmitPolls(background(b), endpoint(b, "serial:"+far.port+"?baud=4000000"), plan, nil)
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	var f transport.Frame
	b.ReportAllocs()
	before := cpu(b)
	for b.Loop() {
		for range 2 {
			if err := p.Receive(&f); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(cpu(b)-before)/float64(b.N), "cpu-ns/op")
}

// BenchmarkListen is one run of 64 bytes through a pty.
func BenchmarkListen(b *testing.B) {
	far := plug(b, "")
	l, err := Listen(background(b), endpoint(b, "serial:"+far.port), nil)
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	run := make([]byte, 64)
	var f transport.Frame
	b.ReportAllocs()
	for b.Loop() {
		far.Write(run)
		for n := 0; n < len(run); n += len(f.Data) {
			if err := l.Receive(&f); err != nil {
				b.Fatal(err)
			}
		}
	}
}
