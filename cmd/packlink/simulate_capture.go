package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"packlink/decode/simulate"
	"packlink/transport"
	"packlink/transport/capture"
)

// captureStart is when the time of a simulated capture begins, so that the same flags
// give the same file.
var captureStart = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).UnixNano()

// capture writes the simulated traffic to a file.
func (j *simulateJob) capture(ctx context.Context, to transport.Endpoint, s *streams) (err error) {
	if !strings.HasSuffix(to.Address, ".pcapng") {
		return usageError{fmt.Errorf("simulate: --to %s: a capture is a pcapng file, so its name ends in .pcapng", to)}
	}
	traffic, err := simulate.New(j.table, j.plan, captureStart, j.wire)
	if err != nil {
		return err
	}
	file, err := os.OpenFile(to.Address, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("simulate: a capture is never written over: %w", err)
	}
	if err != nil {
		return err
	}
	defer func() {
		if closed := file.Close(); err == nil {
			err = closed
		}
	}()
	if j.long == 0 {
		j.long = time.Hour
	}
	frames, err := j.write(ctx, traffic, file)
	how := ""
	if ctx.Err() != nil {
		how = ", stopped before its end,"
	}
	fmt.Fprintf(s.log, "%s of %v simulated time%s in %s; every value is invented\n", counted(frames, "frame"), j.long, how, to.Address)
	return err
}

// write writes the traffic of the job's time, with the model's time.
func (j *simulateJob) write(ctx context.Context, traffic *simulate.Traffic, file io.Writer) (frames int, err error) {
	medium := transport.Serial
	if j.table.Bus.CAN != nil {
		medium = transport.CAN
	}
	var buses []capture.Bus
	for i := range traffic.Channels() {
		buses = append(buses, capture.Bus{Name: fmt.Sprintf("simulated%d", i), Medium: medium})
	}
	out, err := capture.NewWriter(file, buses...)
	if err != nil {
		return 0, err
	}
	traffic.EndAt(captureStart + int64(j.long))
	defer context.AfterFunc(ctx, func() { _ = traffic.Close() })()
	spoken := &timed{traffic, 0}
	err = capture.Play(ctx, spoken, j.pace, func(f *transport.Frame) error {
		f.Time = spoken.newest
		frames++
		return out.Send(f)
	})
	if ended(err) {
		err = nil
	}
	if closed := out.Close(); err == nil {
		err = closed
	}
	return frames, err
}

// timed is a receiver that keeps the time of its newest frame.
type timed struct {
	transport.Receiver
	newest int64
}

// Receive fills f with the next frame.
func (r *timed) Receive(f *transport.Frame) error {
	err := r.Receiver.Receive(f)
	r.newest = f.Time
	return err
}
