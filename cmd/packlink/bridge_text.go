package main

import (
	"context"
	"time"

	"packlink/decode/bank"
	"packlink/transport/feed"
)

// textOutput writes the newest state as text at regular times. A reader that
// does not read holds up nothing but its own text.
type textOutput struct {
	write func(*bank.Bank) error
	every time.Duration
	next  chan *bank.Bank // the newest state that was not written yet
}

func newTextOutput(write func(*bank.Bank) error, every time.Duration) *textOutput {
	return &textOutput{write: write, every: every, next: make(chan *bank.Bank, 1)}
}

// publish keeps the state until it is time to write, in place of an older one.
func (o *textOutput) publish(b *bank.Bank, _ []feed.SourceHealth) {
	select {
	case <-o.next:
	default:
	}
	o.next <- b
}

// run writes until ctx ends. It does not wait for a write that is stuck.
func (o *textOutput) run(ctx context.Context) error {
	failed := make(chan error, 1)
	go func() { failed <- o.writing(ctx) }()
	select {
	case <-ctx.Done():
		return nil
	case err := <-failed:
		return err
	}
}

func (o *textOutput) writing(ctx context.Context) error {
	timer := time.NewTicker(o.every)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		}
		select {
		case <-ctx.Done():
			return nil
		case b := <-o.next:
			if err := o.write(b); err != nil {
				return err
			}
		}
	}
}

func (o *textOutput) where() string { return "" }

// recordLines writes the bank's record and each pack's, as JSON lines.
type recordLines struct{ *feed.Lines }

func (l recordLines) bank(b *bank.Bank) error {
	if err := l.Bank(b); err != nil {
		return err
	}
	for i := range b.Packs {
		if err := l.Pack(&b.Packs[i]); err != nil {
			return err
		}
	}
	return nil
}
