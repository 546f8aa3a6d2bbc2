package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"time"

	"packlink/decode"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/canbus"
	"packlink/transport/serialbus"
)

// isLive tells whether frames come from a bus, not from a recording or a simulation.
func isLive(e transport.Endpoint) bool { return e.Scheme != "capture" && e.Scheme != "simulate" }

// listenTo opens a bus to hear what goes by. Nothing is transmitted. tell gets a
// line of text for each transition of the bus.
func listenTo(ctx context.Context, e transport.Endpoint, tell func(string)) (transport.Receiver, error) {
	switch e.Scheme {
	case "can", "slcan":
		l, err := canbus.Listen(e, func(event canbus.Event) { tell(event.String()) })
		if err != nil {
			return nil, withHint(err)
		}
		context.AfterFunc(ctx, func() { _ = l.Close() }) // ends a Receive that waits
		return l, nil
	case "serial", "tcp":
		l, err := serialbus.Listen(ctx, e, func(event serialbus.Event) { tell(event.String()) })
		if err != nil {
			return nil, withHint(err)
		}
		return l, nil
	case "modbus-tcp", "modbus-tls":
		return nil, fmt.Errorf("%s: a Modbus/TCP server says nothing unless it is asked: this is a source for bridge, with poll: true", e)
	}
	return nil, notABus(e)
}

// ask opens a line to ask packs for what a mapping says. It transmits requests to
// read registers, or the mapping's questions, and nothing else.
func ask(ctx context.Context, e transport.Endpoint, table *mapping.Compiled, addresses []uint32, tell func(string)) (transport.Receiver, error) {
	switch {
	case table.Bus.Serial != nil:
		return askQuestions(ctx, e, table, addresses, tell)
	case table.Bus.CAN != nil:
		return askOnCAN(ctx, e, table, addresses, tell)
	}
	bus := table.Bus.Registers
	plan := serialbus.Plan{Timeout: bus.AnswerWithin, Quiet: bus.Quiet, MaxRegisters: bus.Most}
	for _, unit := range addresses {
		plan.Units = append(plan.Units, byte(unit))
	}
	if bus.ModelsAt >= 0 {
		plan.Models = modelsOf(table)
	}
	for i := range table.Programs {
		p := &table.Programs[i]
		if p.Read.Model != 0 {
			continue
		}
		every := p.Every
		if every == 0 {
			every = time.Second
		}
		plan.Blocks = append(plan.Blocks, serialbus.Block{
			Function: byte(bus.Function()), From: uint16(p.Read.From), Count: p.Read.Count, Every: every, Joined: p.Joined(),
		})
	}
	r, err := serialbus.TransmitPolls(ctx, e, plan, func(event serialbus.Event) { tell(event.String()) })
	if err != nil {
		return nil, withHint(err)
	}
	return r, nil
}

// ear knows the answers to the questions of a plan.
type ear struct {
	*decode.Ear
	polls []decode.Poll
}

// Asked notes which question was sent.
func (e ear) Asked(question int) { e.Expect(e.polls[question].Asked) }

// modelsOf are the models of a mapping, as a unit is asked for them.
func modelsOf(table *mapping.Compiled) *serialbus.Models {
	periods := make(map[uint16]time.Duration)
	for i := range table.Programs {
		p := &table.Programs[i]
		periods[uint16(p.Read.Model)] = cmp.Or(p.Every, time.Second)
	}
	return &serialbus.Models{
		Function: byte(table.Bus.Registers.Function()), Marks: decode.ModelMarks(table), Mark: decode.ModelMark, End: decode.ModelEnd,
		Every: func(id uint16) time.Duration { return periods[id] },
	}
}

// askQuestions opens a line to ask the questions of a mapping.
func askQuestions(ctx context.Context, e transport.Endpoint, table *mapping.Compiled, addresses []uint32, tell func(string)) (transport.Receiver, error) {
	polls, err := decode.Polls(table, addresses)
	if err != nil {
		return nil, err
	}
	bus := table.Bus.Serial
	plan := serialbus.QuestionPlan{Ear: ear{decode.NewEar(table), polls}, Timeout: bus.AnswerWithin, Quiet: bus.Quiet}
	for _, p := range polls {
		name := "the pack"
		if p.Told {
			name = fmt.Sprintf("pack %d", p.Address)
		}
		plan.Questions = append(plan.Questions, serialbus.Question{Pack: name, Name: p.Program.Name, Sent: p.Sent, Every: p.Every})
	}
	r, err := serialbus.TransmitQuestions(ctx, e, plan, func(event serialbus.Event) { tell(event.String()) })
	if err != nil {
		return nil, withHint(err)
	}
	return r, nil
}

// askOnCAN opens a CAN bus to ask the questions of a mapping.
func askOnCAN(ctx context.Context, e transport.Endpoint, table *mapping.Compiled, addresses []uint32, tell func(string)) (transport.Receiver, error) {
	questions, err := canQuestions(table, addresses)
	if err != nil {
		return nil, err
	}
	l, err := canbus.TransmitQuestions(e, questions, func(event canbus.Event) { tell(event.String()) })
	if err != nil {
		return nil, withHint(err)
	}
	context.AfterFunc(ctx, func() { _ = l.Close() }) // ends a Receive that waits
	return l, nil
}

// canQuestions are the questions of a mapping to the packs at some addresses, each
// frame once, though it may ask several packs or for several messages.
func canQuestions(table *mapping.Compiled, addresses []uint32) (questions []canbus.Question, err error) {
	for _, address := range addresses {
		for i := range table.Programs {
			p := &table.Programs[i]
			if p.CAN.Ask == nil {
				continue
			}
			f, err := decode.QuestionFrame(p, address)
			if err != nil {
				return nil, err
			}
			every := cmp.Or(p.CAN.Ask.Every, time.Second)
			same := func(q canbus.Question) bool { return q.Frame.ID == f.ID && bytes.Equal(q.Frame.Data, f.Data) }
			if i := slices.IndexFunc(questions, same); i >= 0 {
				questions[i].Every = min(questions[i].Every, every)
				continue
			}
			questions = append(questions, canbus.Question{Frame: f, Every: every})
		}
	}
	return questions, nil
}

// withLineOf adds the speed and frame that a mapping's document gives to a line
// or an adapter whose endpoint says none.
func withLineOf(e transport.Endpoint, table *mapping.Compiled) transport.Endpoint {
	usual := make(map[string]string)
	switch {
	case table == nil:
	case e.Scheme == "serial" || e.Scheme == "modbus-rtu":
		baud, frame := table.Bus.Line()
		if baud > 0 {
			usual["baud"] = strconv.Itoa(baud)
		}
		if frame != "" {
			usual["frame"] = frame
		}
	case e.Scheme == "slcan" && table.Bus.CAN != nil:
		usual["bitrate"] = strconv.Itoa(table.Bus.CAN.Bitrate)
	}
	return e.WithUsual(usual)
}

// withHint brings the command that a transport's error proposes to where it is
// printed.
func withHint(err error) error {
	if err == nil {
		return nil
	}
	var line *serialbus.Error
	if errors.As(err, &line) && line.Try != "" {
		return &hinted{err, line.Try}
	}
	return err
}

// ended tells whether an error of Receive is the end of a source that was
// closed.
func ended(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, context.Canceled) || errors.Is(err, os.ErrClosed)
}

// receive hands the frames of a bus over until it ends.
func receive(ctx context.Context, r transport.Receiver, take func(*transport.Frame) error) error {
	var f transport.Frame
	for ctx.Err() == nil {
		if err := r.Receive(&f); err != nil {
			if ctx.Err() != nil || ended(err) {
				return nil
			}
			return err
		}
		if err := take(&f); err != nil {
			return err
		}
	}
	return nil
}
