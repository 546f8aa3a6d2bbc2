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
	fmt.Fprintf(s.log, "%s of %v simulated time in %s; every value is invented\n", counted(frames, "frame"), j.long, to.Address)
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
	limited := &until{traffic, captureStart + int64(j.long), 0}
	err = capture.Play(ctx, limited, j.pace, func(f *transport.Frame) error {
		f.Time = limited.newest
		frames++
		return out.Send(f)
	})
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	if closed := out.Close(); err == nil {
		err = closed
	}
	return frames, err
}

// until is a receiver that ends at an instant of its frames' time.
type until struct {
	transport.Receiver
	end    int64
	newest int64 // time of the newest frame
}

// Receive fills f with the next frame before the end.
func (u *until) Receive(f *transport.Frame) error {
	if err := u.Receiver.Receive(f); err != nil {
		return err
	}
	if u.newest = f.Time; f.Time >= u.end {
		return io.EOF
	}
	return nil
}
