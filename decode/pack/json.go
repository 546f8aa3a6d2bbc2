package pack

import "time"

// members are the quantities' keys as they begin a member.
var members = func() (m [Count]string) {
	for q := range Count {
		m[q] = `"` + catalogue[q].Key + `":`
	}
	return m
}()

// AppendJSON appends the pack record of the status: one JSON object without a
// line end. It allocates nothing if b has room.
func (s *Status) AppendJSON(b []byte) []byte {
	b = append(b, '{')
	b = s.AppendTime(b)
	b = AppendText(AppendKey(b, "source"), s.Source)
	if s.HasAddress {
		b = Int(int64(s.Address)).Append(AppendKey(b, "address"))
	}
	b = AppendText(AppendKey(b, "mapping"), s.Mapping)
	b = s.AppendQuantities(b)
	return append(b, '}')
}

// AppendTime appends the member "time", if a frame was used.
func (s *Status) AppendTime(b []byte) []byte {
	if s.Time == 0 {
		return b
	}
	b = append(AppendKey(b, "time"), '"')
	b = time.Unix(0, s.Time).UTC().AppendFormat(b, time.RFC3339Nano)
	return append(b, '"')
}

// age is the age of the newest frame used, to the millisecond.
func (s *Status) age() Decimal {
	ms, _ := Decimal{s.Now - s.Time, -9}.Rescale(-3)
	return Decimal{ms, -3}
}

// AppendQuantities appends the members that a pack record and a bank record
// share: the known quantities, alarms, stale, suspect and age_s.
func (s *Status) AppendQuantities(b []byte) []byte {
	var trusts Trust
	for q := range Count {
		trust := s.trust(q)
		trusts |= trust
		if trust&Known != 0 {
			b = s.appendQuantity(append(appendComma(b), members[q]...), q)
		}
	}
	b = s.appendAlarms(b)
	if trusts&Stale != 0 || s.AlarmsStale {
		b = s.appendStale(b)
	}
	if trusts&(Below|Above) != 0 {
		b = s.appendSuspect(b)
	}
	if s.Time != 0 {
		b = s.age().Append(AppendKey(b, "age_s"))
	}
	return b
}

func (s *Status) appendQuantity(b []byte, q Quantity) []byte {
	switch kind := catalogue[q].Kind; kind {
	case Number:
		return s.values[q].Decimal().Append(b)
	case Flag:
		return appendFlag(b, s.values[q])
	case Word:
		return AppendText(b, s.texts[q].trimmed())
	default:
		return appendList(b, kind, s.Elements(q))
	}
}

func appendList(b []byte, kind Kind, elements []Value) []byte {
	b = append(b, '[')
	for i, v := range elements {
		if i > 0 {
			b = append(b, ',')
		}
		switch {
		case v.Trust&Known == 0:
			b = append(b, "null"...)
		case kind == Flags:
			b = appendFlag(b, v)
		default:
			b = v.Decimal().Append(b)
		}
	}
	return append(b, ']')
}

func appendFlag(b []byte, v Value) []byte {
	if v.Coef != 0 {
		return append(b, "true"...)
	}
	return append(b, "false"...)
}

func (s *Status) appendAlarms(b []byte) []byte {
	if s.Alarms.Known == 0 {
		return b
	}
	b = append(AppendKey(b, "alarms"), '[')
	for a := range s.Alarms.All() {
		b = AppendText(append(appendComma(b), `{"kind":`...), alarmKinds[a.Kind])
		b = append(AppendText(append(b, `,"level":`...), alarmLevels[a.Level]), '}')
	}
	return append(b, ']')
}

func (s *Status) appendStale(b []byte) []byte {
	b = append(AppendKey(b, "stale"), '[')
	for q := range Count {
		if s.Stale(q) {
			b = AppendText(appendComma(b), catalogue[q].Key)
		}
	}
	if s.AlarmsStale {
		b = AppendText(appendComma(b), "alarms")
	}
	return append(b, ']')
}

func (s *Status) appendSuspect(b []byte) []byte {
	b = append(AppendKey(b, "suspect"), '[')
	for q := range Count {
		if doubt := s.trust(q) & (Below | Above); doubt != 0 {
			b = AppendText(append(appendComma(b), `{"key":`...), catalogue[q].Key)
			b = append(AppendText(append(b, `,"why":`...), doubtText(doubt)), '}')
		}
	}
	return append(b, ']')
}

// doubtText says which range a value leaves, or a list's elements leave.
func doubtText(doubt Trust) string {
	switch doubt {
	case Below:
		return "below the mapping's plausible range"
	case Above:
		return "above the mapping's plausible range"
	}
	return "outside the mapping's plausible range"
}
