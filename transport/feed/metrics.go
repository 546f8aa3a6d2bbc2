package feed

import (
	"strconv"
	"time"

	"packlink/decode/pack"
)

// openMetrics is the content type of OpenMetrics 1.0, section "Text format".
const openMetrics = "application/openmetrics-text; version=1.0.0; charset=utf-8"

// subject is what a sample speaks of: a pack or the bank.
type subject struct {
	*pack.Status
	labels labels // who it is
}

// appendMetrics appends all metrics of a snapshot in OpenMetrics text.
func appendMetrics(b []byte, s *snapshot) []byte {
	packs := make([]subject, len(s.bank.Packs))
	for i := range s.bank.Packs {
		p := &s.bank.Packs[i]
		who := labels("").with("source", p.Source)
		if p.HasAddress {
			who = who.with("address", strconv.FormatUint(uint64(p.Address), 10))
		}
		packs[i] = subject{p, who}
	}
	whole := []subject{{&s.bank.Whole, labels("").with("bank", s.bank.Name)}}
	b = appendScope(b, "packlink_pack", packs, time.Since(s.at))
	b = appendScope(b, "packlink_bank", whole, time.Since(s.at))
	b = appendSources(b, s.sources)
	b = appendOutputs(b, s.outputs)
	return append(b, "# EOF\n"...)
}

// appendScope appends the metric families of all packs, or of the bank.
func appendScope(b []byte, prefix string, all []subject, since time.Duration) []byte {
	for q := range pack.Count {
		if q.Row().Kind != pack.Word {
			b = family{prefix, q.Row().Key, q.Row().Unit, q.Row().Doc}.append(b, func(b []byte, name string) []byte {
				for _, s := range all {
					b = appendQuantity(b, name, s, q)
				}
				return b
			})
		}
	}
	b = family{prefix, "age_s", "s", "age of the newest frame used"}.append(b, func(b []byte, name string) []byte {
		for _, s := range all {
			if d, ok := age(s.Status); ok {
				b = appendSample(b, name, s.labels, pack.Decimal{Coef: (d + since).Milliseconds(), Exp: -3})
			}
		}
		return b
	})
	b = family{prefix, "alarm", "", "whether an alarm is active"}.append(b, func(b []byte, name string) []byte {
		for _, s := range all {
			b = appendAlarms(b, name, s)
		}
		return b
	})
	return appendInfo(b, prefix, all)
}

// appendQuantity appends the samples of one quantity that are known, in range
// and not overdue: metrics cannot mark others.
func appendQuantity(b []byte, name string, s subject, q pack.Quantity) []byte {
	row := q.Row()
	if !row.Kind.List() {
		d, ok := s.Usable(q)
		return appendScaled(b, name, s.labels, d, ok, row.Unit)
	}
	position := "cell"
	if q == pack.Temps {
		position = "sensor"
	}
	for i, v := range s.Elements(q) {
		where := s.labels.with(position, strconv.Itoa(i+1))
		b = appendScaled(b, name, where, v.Decimal(), v.Trust == pack.Known, row.Unit)
	}
	return b
}

// appendScaled appends a sample in the metric's unit, if there is a value.
// Percent become a ratio, exactly.
func appendScaled(b []byte, name string, who labels, d pack.Decimal, ok bool, unit string) []byte {
	if ok && unit == "%" {
		d, ok = d.Mul(pack.Decimal{Coef: 1, Exp: -2})
	}
	if !ok {
		return b
	}
	return appendSample(b, name, who, d)
}

// appendAlarms appends 1 for each active alarm, 0 for each that is known to be
// inactive, and nothing while alarms are overdue.
func appendAlarms(b []byte, name string, s subject) []byte {
	if s.AlarmsStale {
		return b
	}
	for kind := range pack.AlarmKinds() {
		for level := range pack.AlarmLevels() {
			alarm := pack.Alarm{Kind: pack.AlarmKind(kind), Level: pack.AlarmLevel(level)}
			if active, known := s.Alarms.State(alarm); known {
				who := s.labels.with("kind", pack.AlarmKinds()[kind]).with("level", pack.AlarmLevels()[level])
				b = appendSample(b, name, who, flag(active))
			}
		}
	}
	return b
}

// appendInfo appends the texts, as labels of an info metric.
func appendInfo(b []byte, prefix string, all []subject) []byte {
	b = append(b, "# TYPE "+prefix+" info\n# HELP "+prefix+" what is known by name\n"...)
	for _, s := range all {
		who := s.labels.with("mapping", s.Mapping)
		for q := range pack.Count {
			if _, ok := s.Usable(q); ok && q.Row().Kind == pack.Word {
				who = who.with(q.Row().Key, s.Text(q))
			}
		}
		b = appendSample(b, prefix+"_info", who, pack.Int(1))
	}
	return b
}

func appendSources(b []byte, sources []SourceHealth) []byte {
	return family{"packlink_source", "fresh", "", "whether all packs of the source are heard in time"}.append(b, func(b []byte, name string) []byte {
		for _, s := range sources {
			b = appendSample(b, name, labels("").with("source", s.Source), flag(s.Fresh))
		}
		return b
	})
}

func flag(on bool) pack.Decimal {
	if on {
		return pack.Int(1)
	}
	return pack.Int(0)
}
