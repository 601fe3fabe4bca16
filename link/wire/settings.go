package wire

import "trunnion/tuning/bench"

// Most entries of the lists in one message.
const (
	MaxGuards       = 8
	MaxTravelLimits = 6
)

// most31 is the greatest number of counts where a field holds 31 bits, so that
// a controller can compare it as a signed 32-bit integer.
const most31 = 1<<31 - 1

// Tilt brings servos to pulses, all at one servo frame.
type Tilt struct {
	Pulses []AxisPulse // 1 to bench.MaxAxes, each axis once
}

// AxisPulse is a pulse for an axis.
type AxisPulse struct {
	Axis        uint8
	PulseTenths uint16 // 0 is no pulse: the servo hangs free
}

// PulseLimits bound the pulses of an axis.
type PulseLimits struct {
	Axis        uint8
	LeastTenths uint16
	MostTenths  uint16
	SlewTenths  uint16 // greatest change from one servo frame to the next; 0 is no bound
}

// Neutral is the pulse that parks an axis.
type Neutral struct {
	Axis        uint8
	PulseTenths uint16 // 0 forgets it
}

// Guards replaces all guards.
type Guards struct {
	Guards []Guard // up to MaxGuards; none removes them
}

// Guard cuts the drive; see bench.Guard.
type Guard struct {
	Counter    uint8
	Counts     uint32 // 31 bits; 0 is no bound
	TimeMillis uint16 // 0 is no bound
}

// TravelLimits replaces all travel limits.
type TravelLimits struct {
	Limits []TravelLimit // up to MaxTravelLimits; none removes them
}

// TravelLimit bounds a linear form of the counts.
type TravelLimit struct {
	Terms []Term // 1 to bench.MaxCounters, each counter once
	Least int32  // in weighted counts; -2147483648 is no bound
	Most  int32  // in weighted counts; 2147483647 is no bound
}

// Term is a counter's share in a linear form.
type Term struct {
	Counter   uint8
	Weight256 int16 // weight times 256
}

// Datum gives the present place of a counter the count value.
type Datum struct {
	Counter uint8
	Value   int32
}

func (Tilt) Type() Type         { return TypeTilt }
func (PulseLimits) Type() Type  { return TypePulseLimits }
func (Neutral) Type() Type      { return TypeNeutral }
func (Guards) Type() Type       { return TypeGuards }
func (TravelLimits) Type() Type { return TypeTravelLimits }
func (Datum) Type() Type        { return TypeDatum }

func (m Tilt) appendTo(b []byte) []byte {
	for _, p := range m.Pulses {
		b = little.AppendUint16(append(b, p.Axis), p.PulseTenths)
	}
	return b
}

func (m PulseLimits) appendTo(b []byte) []byte {
	b = little.AppendUint16(append(b, m.Axis), m.LeastTenths)
	return little.AppendUint16(little.AppendUint16(b, m.MostTenths), m.SlewTenths)
}

func (m Neutral) appendTo(b []byte) []byte {
	return little.AppendUint16(append(b, m.Axis), m.PulseTenths)
}

func (m Guards) appendTo(b []byte) []byte {
	for _, g := range m.Guards {
		b = little.AppendUint32(append(b, g.Counter), g.Counts)
		b = little.AppendUint16(b, g.TimeMillis)
	}
	return b
}

func (m TravelLimits) appendTo(b []byte) []byte {
	for _, l := range m.Limits {
		b = append(b, uint8(len(l.Terms)))
		for _, t := range l.Terms {
			b = little.AppendUint16(append(b, t.Counter), uint16(t.Weight256))
		}
		b = little.AppendUint32(b, uint32(l.Least))
		b = little.AppendUint32(b, uint32(l.Most))
	}
	return b
}

func (m Datum) appendTo(b []byte) []byte {
	return little.AppendUint32(append(b, m.Counter), uint32(m.Value))
}

func parseTilt(r *reader) Message {
	var m Tilt
	for r.more() {
		m.Pulses = append(m.Pulses, AxisPulse{Axis: r.u8(), PulseTenths: r.u16()})
	}
	return m
}

func parsePulseLimits(r *reader) Message {
	return PulseLimits{Axis: r.u8(), LeastTenths: r.u16(), MostTenths: r.u16(), SlewTenths: r.u16()}
}

func parseNeutral(r *reader) Message { return Neutral{Axis: r.u8(), PulseTenths: r.u16()} }

func parseGuards(r *reader) Message {
	var m Guards
	for r.more() {
		m.Guards = append(m.Guards, Guard{Counter: r.u8(), Counts: r.u32(), TimeMillis: r.u16()})
	}
	return m
}

func parseTravelLimits(r *reader) Message {
	var m TravelLimits
	for r.more() {
		var l TravelLimit
		for n := r.u8(); n > 0 && !r.short; n-- {
			l.Terms = append(l.Terms, Term{Counter: r.u8(), Weight256: r.i16()})
		}
		l.Least, l.Most = r.i32(), r.i32()
		m.Limits = append(m.Limits, l)
	}
	return m
}

func parseDatum(r *reader) Message { return Datum{Counter: r.u8(), Value: r.i32()} }

func (m Tilt) check() bool {
	for _, p := range m.Pulses {
		if !pulseFits(p.PulseTenths) {
			return false
		}
	}
	n := len(m.Pulses)
	return n >= 1 && n <= bench.MaxAxes && distinct(n, func(i int) uint8 { return m.Pulses[i].Axis })
}

func (m PulseLimits) check() bool {
	return m.LeastTenths >= 1 && m.LeastTenths <= m.MostTenths && pulseFits(m.MostTenths)
}

func (m Neutral) check() bool { return pulseFits(m.PulseTenths) }

func (m Guards) check() bool {
	for _, g := range m.Guards {
		if g.Counts > most31 || g.Counts == 0 && g.TimeMillis == 0 {
			return false
		}
	}
	return len(m.Guards) <= MaxGuards
}

func (m TravelLimits) check() bool {
	for _, l := range m.Limits {
		n := len(l.Terms)
		if n < 1 || n > bench.MaxCounters || l.Least > l.Most || !distinct(n, func(i int) uint8 { return l.Terms[i].Counter }) {
			return false
		}
	}
	return len(m.Limits) <= MaxTravelLimits
}

func (Datum) check() bool { return true }

func (m Tilt) fields(t *text) {
	for _, p := range m.Pulses {
		t.add("axis", int64(p.Axis))
		t.add("pulse", int64(p.PulseTenths))
	}
}

func (m PulseLimits) fields(t *text) {
	t.add("axis", int64(m.Axis))
	t.add("least", int64(m.LeastTenths))
	t.add("most", int64(m.MostTenths))
	t.add("slew", int64(m.SlewTenths))
}

func (m Neutral) fields(t *text) {
	t.add("axis", int64(m.Axis))
	t.add("pulse", int64(m.PulseTenths))
}

func (m Guards) fields(t *text) {
	for _, g := range m.Guards {
		t.add("counter", int64(g.Counter))
		t.add("counts", int64(g.Counts))
		t.add("time", int64(g.TimeMillis))
	}
}

func (m TravelLimits) fields(t *text) {
	for _, l := range m.Limits {
		t.add("terms", int64(len(l.Terms)))
		for _, term := range l.Terms {
			t.add("counter", int64(term.Counter))
			t.add("weight", int64(term.Weight256))
		}
		t.add("least", int64(l.Least))
		t.add("most", int64(l.Most))
	}
}

func (m Datum) fields(t *text) {
	t.add("counter", int64(m.Counter))
	t.add("value", int64(m.Value))
}
