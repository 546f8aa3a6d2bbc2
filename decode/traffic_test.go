package decode_test

import (
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// invented is a pack of sixteen cells under a changing load, in which every
// quantity has a value.
func invented(random *rand.Rand, address uint32, at int64) *pack.Status {
	s := &pack.Status{Time: at, Now: at, Source: "invented", Address: address, HasAddress: true, Fresh: true}
	set := func(q pack.Quantity, coef int64, exp int8) { s.SetNumber(q, pack.Decimal{Coef: coef, Exp: exp}, at) }
	current := int64(random.IntN(1200) - 800) // 0.1 A
	cells := int64(0)
	for i := range 16 {
		mv := 3240 + current/20 + int64(random.IntN(9))
		cells += mv
		s.PutElement(pack.Cells, i, pack.Value{Coef: mv, Exp: -3, At: at, Trust: pack.Known})
		s.PutElement(pack.Balancing, i, pack.Value{At: at, Trust: pack.Known})
	}
	for i := range 4 {
		s.PutElement(pack.Temps, i, pack.Value{Coef: 180 + int64(random.IntN(60)), Exp: -1, At: at, Trust: pack.Known})
	}
	set(pack.Voltage, cells/10, -2)
	set(pack.Current, current, -1)
	for q, coef := range map[pack.Quantity]int64{
		pack.SOC: 60 + int64(random.IntN(8)), pack.SOH: 98, pack.Remaining: 64, pack.Full: 98, pack.Nominal: 100, pack.Cycles: 41,
		pack.Modules: 1, pack.Packs: 1, pack.PacksFresh: 1, pack.RemainingEnergy: 3200, pack.TimeToFull: 7200, pack.TimeToEmpty: 14400,
		pack.Temp: 21, pack.TempSwitch: 30, pack.TempAmbient: 19,
		pack.ChargeVoltageLimit: 56, pack.DischargeVoltageLimit: 45, pack.ChargeCurrentLimit: 50, pack.DischargeCurrentLimit: 100,
	} {
		set(q, coef, 0)
	}
	for _, q := range []pack.Quantity{pack.ChargeAllowed, pack.DischargeAllowed} {
		s.SetFlag(q, true, at)
	}
	for _, q := range []pack.Quantity{pack.FullChargeWanted, pack.ChargeNowWanted} {
		s.SetFlag(q, false, at)
	}
	for i := range pack.AlarmKinds() {
		s.Alarms.Set(pack.Alarm{Kind: pack.AlarmKind(i)}, false)
		s.Alarms.Set(pack.Alarm{Kind: pack.AlarmKind(i), Level: pack.Protection}, false)
	}
	s.Derive()
	return s
}

// traffic is what is heard of a pack that speaks a mapping for some time: its
// frames, or on a line the questions and answers.
func traffic(t *testing.T, table *mapping.Compiled, random *rand.Rand, long time.Duration) (frames []transport.Frame) {
	t.Helper()
	if table.Bus.Registers != nil && table.Bus.Registers.ModelsAt >= 0 {
		return modelTraffic(t, table, random, long)
	}
	const step = 100 * time.Millisecond
	w := decode.NewWriter(table)
	for at := time.Duration(0); at < long; at += step {
		for i := range table.Programs {
			p := &table.Programs[i]
			every := max(p.Every, step)
			if p.Every == 0 {
				every = time.Second
			}
			if p.ByReader || at%every != 0 {
				continue
			}
			now := int64(1_780_000_000*second) + int64(at) + int64(i)*int64(time.Millisecond)
			for _, f := range spoken(t, w, p, invented(random, 1, now)) {
				f.Time = now
				frames = append(frames, f)
			}
		}
	}
	return frames
}

// modelTraffic is what is heard of a master that walks the models of a device with
// two packs, and reads them once a second.
func modelTraffic(t *testing.T, table *mapping.Compiled, random *rand.Rand, long time.Duration) (frames []transport.Frame) {
	t.Helper()
	for at := time.Duration(0); at < long; at += time.Second {
		now := int64(1_780_000_000*second) + int64(at)
		packs := []pack.Status{*invented(random, 1, now), *invented(random, 2, now)}
		blocks, errs := decode.Layout(table, &bank.Sum("invented", pack.Decimal{}, now, packs).Whole, packs)
		if len(errs) > 0 {
			t.Fatal(errs)
		}
		words, from := blocks[0].Words, blocks[0].From
		read := func(first, count int) {
			data := binary.BigEndian.AppendUint16(nil, words[first])
			for _, w := range words[first+1 : first+count] {
				data = binary.BigEndian.AppendUint16(data, w)
			}
			now += int64(10 * time.Millisecond)
			frames = append(frames,
				transport.Frame{Time: now, Medium: transport.Serial, Data: ask(1, from+first, count)},
				transport.Frame{Time: now + int64(time.Millisecond), Medium: transport.Serial, Data: give(1, data)})
		}
		read(0, 2)
		model := 2
		for ; words[model] != decode.ModelEnd; model += 2 + int(words[model+1]) {
			read(model, 2)
			for first := 0; first < 2+int(words[model+1]); first += 125 {
				read(model+first, min(125, 2+int(words[model+1])-first))
			}
		}
		read(model, 2)
	}
	return frames
}

// spoken are the frames that say what a status knows, of one message.
func spoken(t *testing.T, w *decode.Writer, p *mapping.Program, s *pack.Status) (frames []transport.Frame) {
	t.Helper()
	if p.Read != nil {
		payload, err := decode.Payload(p, s)
		if err != nil {
			return spokenUnknown(t, err)
		}
		return []transport.Frame{
			{Medium: transport.Serial, Data: ask(1, p.Read.From, p.Read.Count)},
			{Medium: transport.Serial, Data: give(1, payload)},
		}
	}
	if p.Ask != nil && p.Frame != nil {
		question, err := decode.Question(p, s.Address, nil)
		if err != nil {
			t.Fatal(err)
		}
		frames = append(frames, transport.Frame{Medium: transport.Serial, Data: question})
	}
	err := w.Frames(p, s, func(f *transport.Frame) error {
		f.Data = append([]byte(nil), f.Data...)
		frames = append(frames, *f)
		return nil
	})
	if err != nil {
		return spokenUnknown(t, err)
	}
	return frames
}

// spokenUnknown lets a message pass whose values no invented pack knows.
func spokenUnknown(t *testing.T, err error) []transport.Frame {
	t.Helper()
	if unknown := (*decode.NotKnownError)(nil); !errors.As(err, &unknown) {
		t.Fatal(err)
	}
	return nil
}

// damaged are the frames with one byte in so many replaced by another.
func damaged(frames []transport.Frame, random *rand.Rand, oneIn int) (spoilt []transport.Frame) {
	for _, f := range frames {
		f.Data = append([]byte(nil), f.Data...)
		for i := range f.Data {
			if random.IntN(oneIn) == 0 {
				f.Data[i] ^= byte(1 + random.IntN(255))
			}
		}
		spoilt = append(spoilt, f)
	}
	return spoilt
}
