package wire

import "trunnion/tuning/bench"

// Shape is how many counters and axes a sample has. It is not in the sample
// but in the identity.
type Shape struct {
	Counters int // 0 to bench.MaxCounters
	Axes     int // 1 to bench.MaxAxes; 0: the shape is not known
}

// Shape returns the shape of the samples of the controller with this identity.
func (m Identity) Shape() Shape { return Shape{Counters: int(m.Counters), Axes: int(m.Axes)} }

func (s Shape) fits() bool {
	return s.Counters >= 0 && s.Counters <= bench.MaxCounters && s.Axes >= 1 && s.Axes <= bench.MaxAxes
}

// LineBytes is how many bytes a sample of this shape takes on the line.
func (s Shape) LineBytes() int { return frameExtra + 6 + 6*s.Counters + 4*s.Axes + 2 }

// MostHz is the greatest whole rate of samples of this shape that leaves a
// tenth of the line, at ten bits a byte, to answers and notices.
func (s Shape) MostHz(baud int) int { return baud * 9 / (100 * s.LineBytes()) }

// Sample is the whole rig at one moment, as it is on the wire.
type Sample struct {
	TimeMicros uint32
	State      bench.State
	Cause      bench.Cause // 0 to 15
	Flags      bench.Flags
	Shape      Shape
	Counters   [bench.MaxCounters]SampleCounter // the first Shape.Counters are used
	Axes       [bench.MaxAxes]SampleAxis        // the first Shape.Axes are used
}

// SampleCounter is a counter in a sample.
type SampleCounter struct {
	Count int32 // modulo 2^32
	Edge  Age   // of the last edge
}

// SampleAxis is a servo in a sample.
type SampleAxis struct {
	PulseTenths uint16 // in force; 0 is none
	Closed      bool   // the loop is closed
	Since       Age    // of that pulse
}

// Closed is the bit beside a pulse that says that the loop is closed.
const closedBit = 0x8000

func (Sample) Type() Type { return TypeSample }

func (m Sample) appendTo(b []byte) []byte {
	b = little.AppendUint32(b, m.TimeMicros)
	b = append(b, uint8(m.State)|uint8(m.Cause)<<4, uint8(m.Flags))
	for _, c := range m.Counters[:m.Shape.Counters] {
		b = little.AppendUint32(b, uint32(c.Count))
		b = little.AppendUint16(b, uint16(c.Edge))
	}
	for _, a := range m.Axes[:m.Shape.Axes] {
		pulse := a.PulseTenths
		if a.Closed {
			pulse |= closedBit
		}
		b = little.AppendUint16(b, pulse)
		b = little.AppendUint16(b, uint16(a.Since))
	}
	return b
}

func parseSample(r *reader) Message {
	m := Sample{TimeMicros: r.u32(), Shape: r.shape}
	both := r.u8()
	m.State, m.Cause = bench.State(both&0x0f), bench.Cause(both>>4)
	m.Flags = bench.Flags(r.u8())
	for i := range m.Counters[:m.Shape.Counters] {
		m.Counters[i] = SampleCounter{Count: r.i32(), Edge: Age(r.u16())}
	}
	for i := range m.Axes[:m.Shape.Axes] {
		pulse := r.u16()
		m.Axes[i] = SampleAxis{PulseTenths: pulse &^ closedBit, Closed: pulse&closedBit != 0, Since: Age(r.u16())}
	}
	return m
}

func (m Sample) check() bool {
	if !m.Shape.fits() || m.State > bench.Stopped || m.Cause > 0x0f {
		return false
	}
	for _, a := range m.Axes[:m.Shape.Axes] {
		if !pulseFits(a.PulseTenths) {
			return false
		}
	}
	return true
}

func (m Sample) fields(t *text) {
	t.add("counters", int64(m.Shape.Counters))
	t.add("axes", int64(m.Shape.Axes))
	t.add("time", int64(m.TimeMicros))
	t.add("state", int64(m.State))
	t.add("cause", int64(m.Cause))
	t.add("flags", int64(m.Flags))
	for _, c := range m.Counters[:m.Shape.Counters] {
		t.add("count", int64(c.Count))
		t.add("edge_age", int64(c.Edge))
	}
	for _, a := range m.Axes[:m.Shape.Axes] {
		t.add("pulse", int64(a.PulseTenths))
		t.add("closed", flag(a.Closed))
		t.add("pulse_age", int64(a.Since))
	}
}
