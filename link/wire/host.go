package wire

import "trunnion/tuning/bench"

// Hello opens a connection and restarts the count of requests. Its number is 0.
type Hello struct {
	Major, Minor uint8
	Token        uint32 // chosen anew by the host for each connection
}

// Heartbeat says that the host lives. Its number is 0.
type Heartbeat struct{}

// Describe asks for the description of a counter or an axis.
type Describe struct {
	What uint8 // as CounterIndex and AxisIndex give it
}

// CounterIndex is what Describe carries to ask for a counter.
func CounterIndex(counter int) uint8 { return uint8(counter) & 0x7f }

// AxisIndex is what Describe carries to ask for an axis.
func AxisIndex(axis int) uint8 { return uint8(axis)&0x7f | 0x80 }

// Axis reports whether an axis is asked for; if not it is a counter.
func (m Describe) Axis() bool { return m.What&0x80 != 0 }

// Index is the number of the counter or axis asked for.
func (m Describe) Index() int { return int(m.What & 0x7f) }

// SampleRate asks for samples at a rate, or for none.
type SampleRate struct {
	Hz uint16 // 0 is off
}

// LineRate changes the rate of the line after it was acknowledged.
type LineRate struct {
	Baud uint32
}

// Arm lets the rig move.
type Arm struct {
	Token uint32 // of the hello in force
}

// Park brings every axis to neutral, switches the drive off and leaves the rig
// safe, or stopped if it was.
type Park struct{}

// Stop stops the rig at once, latched.
type Stop struct{}

// Clear takes the latch off.
type Clear struct{}

// Drive switches the motor of the drive shaft.
type Drive struct {
	Direction bench.Direction
}

// Select engages one output of a rig with a selector.
type Select struct {
	Axis uint8
}

// Release opens the loop of an axis.
type Release struct {
	Axis uint8
}

func (Hello) Type() Type      { return TypeHello }
func (Heartbeat) Type() Type  { return TypeHeartbeat }
func (Describe) Type() Type   { return TypeDescribe }
func (SampleRate) Type() Type { return TypeSampleRate }
func (LineRate) Type() Type   { return TypeLineRate }
func (Arm) Type() Type        { return TypeArm }
func (Park) Type() Type       { return TypePark }
func (Stop) Type() Type       { return TypeStop }
func (Clear) Type() Type      { return TypeClear }
func (Drive) Type() Type      { return TypeDrive }
func (Select) Type() Type     { return TypeSelect }
func (Release) Type() Type    { return TypeRelease }

func (m Hello) appendTo(b []byte) []byte {
	return little.AppendUint32(append(b, m.Major, m.Minor), m.Token)
}
func (Heartbeat) appendTo(b []byte) []byte    { return b }
func (m Describe) appendTo(b []byte) []byte   { return append(b, m.What) }
func (m SampleRate) appendTo(b []byte) []byte { return little.AppendUint16(b, m.Hz) }
func (m LineRate) appendTo(b []byte) []byte   { return little.AppendUint32(b, m.Baud) }
func (m Arm) appendTo(b []byte) []byte        { return little.AppendUint32(b, m.Token) }
func (Park) appendTo(b []byte) []byte         { return b }
func (Stop) appendTo(b []byte) []byte         { return b }
func (Clear) appendTo(b []byte) []byte        { return b }
func (m Drive) appendTo(b []byte) []byte      { return append(b, uint8(m.Direction)) }
func (m Select) appendTo(b []byte) []byte     { return append(b, m.Axis) }
func (m Release) appendTo(b []byte) []byte    { return append(b, m.Axis) }

func parseHello(r *reader) Message {
	return Hello{Major: r.u8(), Minor: r.u8(), Token: r.u32()}
}
func parseDescribe(r *reader) Message   { return Describe{What: r.u8()} }
func parseSampleRate(r *reader) Message { return SampleRate{Hz: r.u16()} }
func parseLineRate(r *reader) Message   { return LineRate{Baud: r.u32()} }
func parseArm(r *reader) Message        { return Arm{Token: r.u32()} }
func parseDrive(r *reader) Message      { return Drive{Direction: bench.Direction(r.u8())} }
func parseSelect(r *reader) Message     { return Select{Axis: r.u8()} }
func parseRelease(r *reader) Message    { return Release{Axis: r.u8()} }

func (m Hello) check() bool    { return m.Major == Major }
func (Heartbeat) check() bool  { return true }
func (Describe) check() bool   { return true }
func (SampleRate) check() bool { return true }
func (m LineRate) check() bool { return m.Baud > 0 }
func (Arm) check() bool        { return true }
func (Park) check() bool       { return true }
func (Stop) check() bool       { return true }
func (Clear) check() bool      { return true }
func (m Drive) check() bool    { return m.Direction >= bench.Off && m.Direction <= bench.Reverse }
func (Select) check() bool     { return true }
func (Release) check() bool    { return true }

func (m Hello) fields(t *text) {
	t.add("major", int64(m.Major))
	t.add("minor", int64(m.Minor))
	t.add("token", int64(m.Token))
}
func (Heartbeat) fields(*text)      {}
func (m Describe) fields(t *text)   { t.add("what", int64(m.What)) }
func (m SampleRate) fields(t *text) { t.add("hz", int64(m.Hz)) }
func (m LineRate) fields(t *text)   { t.add("baud", int64(m.Baud)) }
func (m Arm) fields(t *text)        { t.add("token", int64(m.Token)) }
func (Park) fields(*text)           {}
func (Stop) fields(*text)           {}
func (Clear) fields(*text)          {}
func (m Drive) fields(t *text)      { t.add("drive", int64(m.Direction)) }
func (m Select) fields(t *text)     { t.add("axis", int64(m.Axis)) }
func (m Release) fields(t *text)    { t.add("axis", int64(m.Axis)) }
