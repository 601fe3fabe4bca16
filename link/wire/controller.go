package wire

import (
	"unicode/utf8"

	"trunnion/tuning/bench"
)

// MaxName is the greatest length of a controller's name in bytes.
const MaxName = 24

// Ack says that the request of its number was carried out.
type Ack struct {
	TimeMicros uint32 // when it took effect, or will
}

// Refuse says that the request of its number was not carried out, and why.
type Refuse struct {
	Request Type
	Reason  bench.Reason
	Detail  int32 // see PROTOCOL.md for each reason
}

// Identity answers Hello.
type Identity struct {
	Major, Minor    uint8
	Token           uint32 // of the hello
	Boot            uint32 // differs after every restart
	Axes            uint8
	Counters        uint8
	LeastTenths     uint16 // shortest pulse
	MostTenths      uint16 // longest pulse
	FrameMicros     uint16 // servo frame
	MostSampleHz    uint16
	MostTablePoints uint8  // 2 to MostTable; 0: no closed loop
	MostBaud        uint32 // fastest line rate
	Capabilities    Capabilities
	Name            string // UTF-8, up to MaxName bytes
}

// Capabilities of a controller.
type Capabilities uint8

// What a controller's rig has.
const (
	CanReverse   Capabilities = 1 << iota // the drive can turn in reverse
	HasSelector                           // the drive engages one output at a time
	HasStopInput                          // a stop switch is wired
)

// CounterDescription answers Describe for a counter.
type CounterDescription struct {
	Counter       uint8
	Kind          bench.SensorKind
	CountsPerTurn uint32 // of the sensor's own shaft; 0 is not known
	MostEdgeRate  uint32 // edges a second
}

// AxisDescription answers Describe for an axis: what is set there.
type AxisDescription struct {
	Axis          uint8
	LeastTenths   uint16 // pulse limits in effect
	MostTenths    uint16
	SlewTenths    uint16
	NeutralTenths uint16 // 0 is not known
	Loop          LoopState
}

// LoopState says how far an axis's loop is set up.
type LoopState uint8

// Parts of a loop.
const (
	LoopTable  LoopState = 1 << iota // a whole inverse table is loaded
	LoopGained                       // gains are loaded
	LoopClosed                       // the loop is closed
)

// Notice tells of a change of state at once. Its number counts notices.
type Notice struct {
	State      bench.State
	Cause      bench.Cause
	TimeMicros uint32
}

func (Ack) Type() Type                { return TypeAck }
func (Refuse) Type() Type             { return TypeRefuse }
func (Identity) Type() Type           { return TypeIdentity }
func (CounterDescription) Type() Type { return TypeCounterDescription }
func (AxisDescription) Type() Type    { return TypeAxisDescription }
func (Notice) Type() Type             { return TypeNotice }

func (m Ack) appendTo(b []byte) []byte { return little.AppendUint32(b, m.TimeMicros) }

func (m Refuse) appendTo(b []byte) []byte {
	return little.AppendUint32(append(b, uint8(m.Request), uint8(m.Reason)), uint32(m.Detail))
}

func (m Identity) appendTo(b []byte) []byte {
	b = append(b, m.Major, m.Minor)
	b = little.AppendUint32(b, m.Token)
	b = little.AppendUint32(b, m.Boot)
	b = append(b, m.Axes, m.Counters)
	for _, v := range [...]uint16{m.LeastTenths, m.MostTenths, m.FrameMicros, m.MostSampleHz} {
		b = little.AppendUint16(b, v)
	}
	b = little.AppendUint32(append(b, m.MostTablePoints), m.MostBaud)
	b = append(b, uint8(m.Capabilities), uint8(len(m.Name)))
	return append(b, m.Name...)
}

func (m CounterDescription) appendTo(b []byte) []byte {
	b = little.AppendUint32(append(b, m.Counter, uint8(m.Kind)), m.CountsPerTurn)
	return little.AppendUint32(b, m.MostEdgeRate)
}

func (m AxisDescription) appendTo(b []byte) []byte {
	b = append(b, m.Axis)
	for _, v := range [...]uint16{m.LeastTenths, m.MostTenths, m.SlewTenths, m.NeutralTenths} {
		b = little.AppendUint16(b, v)
	}
	return append(b, uint8(m.Loop))
}

func (m Notice) appendTo(b []byte) []byte {
	return little.AppendUint32(append(b, uint8(m.State), uint8(m.Cause)), m.TimeMicros)
}

func parseAck(r *reader) Message { return Ack{TimeMicros: r.u32()} }

func parseRefuse(r *reader) Message {
	return Refuse{Request: Type(r.u8()), Reason: bench.Reason(r.u8()), Detail: r.i32()}
}

func parseIdentity(r *reader) Message {
	m := Identity{
		Major: r.u8(), Minor: r.u8(), Token: r.u32(), Boot: r.u32(), Axes: r.u8(), Counters: r.u8(),
		LeastTenths: r.u16(), MostTenths: r.u16(), FrameMicros: r.u16(), MostSampleHz: r.u16(),
		MostTablePoints: r.u8(), MostBaud: r.u32(), Capabilities: Capabilities(r.u8()),
	}
	m.Name = string(r.take(int(r.u8())))
	return m
}

func parseCounterDescription(r *reader) Message {
	return CounterDescription{Counter: r.u8(), Kind: bench.SensorKind(r.u8()), CountsPerTurn: r.u32(), MostEdgeRate: r.u32()}
}

func parseAxisDescription(r *reader) Message {
	return AxisDescription{
		Axis: r.u8(), LeastTenths: r.u16(), MostTenths: r.u16(), SlewTenths: r.u16(), NeutralTenths: r.u16(),
		Loop: LoopState(r.u8()),
	}
}

func parseNotice(r *reader) Message {
	return Notice{State: bench.State(r.u8()), Cause: bench.Cause(r.u8()), TimeMicros: r.u32()}
}

func (Ack) check() bool                { return true }
func (Refuse) check() bool             { return true }
func (CounterDescription) check() bool { return true }

func (m Identity) check() bool {
	return m.Axes >= 1 && m.Axes <= bench.MaxAxes && m.Counters <= bench.MaxCounters &&
		m.LeastTenths >= 1 && m.LeastTenths <= m.MostTenths && pulseFits(m.MostTenths) &&
		m.FrameMicros >= 1 && m.MostTablePoints != 1 && m.MostTablePoints <= MostTable && m.MostBaud >= BaseBaud &&
		len(m.Name) <= MaxName && utf8.ValidString(m.Name)
}

func (m AxisDescription) check() bool {
	return m.LeastTenths <= m.MostTenths && pulseFits(m.MostTenths) && pulseFits(m.NeutralTenths)
}

func (m Notice) check() bool { return m.State <= bench.Stopped }

func (m Ack) fields(t *text) { t.add("time", int64(m.TimeMicros)) }

func (m Refuse) fields(t *text) {
	t.add("request", int64(m.Request))
	t.add("reason", int64(m.Reason))
	t.add("detail", int64(m.Detail))
}

func (m Identity) fields(t *text) {
	t.add("major", int64(m.Major))
	t.add("minor", int64(m.Minor))
	t.add("token", int64(m.Token))
	t.add("boot", int64(m.Boot))
	t.add("axes", int64(m.Axes))
	t.add("counters", int64(m.Counters))
	t.add("least", int64(m.LeastTenths))
	t.add("most", int64(m.MostTenths))
	t.add("frame", int64(m.FrameMicros))
	t.add("sample_hz", int64(m.MostSampleHz))
	t.add("table", int64(m.MostTablePoints))
	t.add("baud", int64(m.MostBaud))
	t.add("capabilities", int64(m.Capabilities))
	t.add("name_length", int64(len(m.Name)))
	if m.Name != "" {
		t.addText("name", m.Name)
	}
}

func (m CounterDescription) fields(t *text) {
	t.add("counter", int64(m.Counter))
	t.add("kind", int64(m.Kind))
	t.add("counts_per_turn", int64(m.CountsPerTurn))
	t.add("edge_rate", int64(m.MostEdgeRate))
}

func (m AxisDescription) fields(t *text) {
	t.add("axis", int64(m.Axis))
	t.add("least", int64(m.LeastTenths))
	t.add("most", int64(m.MostTenths))
	t.add("slew", int64(m.SlewTenths))
	t.add("neutral", int64(m.NeutralTenths))
	t.add("loop", int64(m.Loop))
}

func (m Notice) fields(t *text) {
	t.add("state", int64(m.State))
	t.add("cause", int64(m.Cause))
	t.add("time", int64(m.TimeMicros))
}
