package wire

import "trunnion/tuning/bench"

// MostTable is the greatest number of points in an inverse table.
const MostTable = 33

// TablePart is the whole or a part of an inverse table. The points of a whole
// table rise in ratio; see bench.TablePoint and PROTOCOL.md.
type TablePart struct {
	Axis   uint8
	Offset uint8              // points before the first one here
	Total  uint8              // points of the whole table, 2 to MostTable
	Points []bench.TablePoint // at least 1
}

// Table loads a part of an inverse table, which takes effect when it is whole.
type Table TablePart

// TableReport is the inverse table in effect, asked for by ReadTable.
type TableReport TablePart

// LoopGains are the numbers of a closed loop; see bench.Gains.
type LoopGains struct {
	Axis               uint8
	Counter            uint8 // whose counts are the measured value
	Kp, Ki, Kd         Decimal
	FeedForward        Decimal
	FilterTenthMillis  uint16
	SetPointWeight1000 uint16 // weight times 1000, to 1000
	RatioLeastQ13      int32  // ratio times 8192; below 0
	RatioMostQ13       int32
	TrackingMillis     uint16
	HoldZoneCounts     uint32 // 31 bits; 0 is no hold zone
	HoldReleaseCounts  uint32 // 31 bits; at least HoldZoneCounts
	HoldDelayMillis    uint16
	PeriodMillis       uint16 // at least 1
}

// Gains loads the numbers of an axis's loop.
type Gains LoopGains

// GainsReport are the numbers in effect, asked for by ReadGains.
type GainsReport LoopGains

// ReadTable asks for the inverse table of an axis.
type ReadTable struct {
	Axis uint8
}

// ReadGains asks for the numbers of an axis's loop.
type ReadGains struct {
	Axis uint8
}

// SetPoint gives closed loops new set-points, all at one time.
type SetPoint struct {
	Targets []Target // 1 to bench.MaxAxes, each axis once
}

// Stream queues set-points for a time on the controller's clock.
type Stream struct {
	TimeMicros uint32
	Targets    []Target // 1 to bench.MaxAxes, each axis once
}

// Target is the set-point of one axis; see bench.SetPoint.
type Target struct {
	Axis    uint8
	Mode    bench.Mode
	Value16 int32 // counts or counts a second, times 16
	Rate16  int32 // counts a second, times 16; 0 in mode Speed
}

func (Table) Type() Type       { return TypeTable }
func (TableReport) Type() Type { return TypeTableReport }
func (Gains) Type() Type       { return TypeGains }
func (GainsReport) Type() Type { return TypeGainsReport }
func (ReadTable) Type() Type   { return TypeReadTable }
func (ReadGains) Type() Type   { return TypeReadGains }
func (SetPoint) Type() Type    { return TypeSetPoint }
func (Stream) Type() Type      { return TypeStream }

func (m Table) appendTo(b []byte) []byte       { return TablePart(m).appendTo(b) }
func (m TableReport) appendTo(b []byte) []byte { return TablePart(m).appendTo(b) }
func (m Gains) appendTo(b []byte) []byte       { return LoopGains(m).appendTo(b) }
func (m GainsReport) appendTo(b []byte) []byte { return LoopGains(m).appendTo(b) }
func (m ReadTable) appendTo(b []byte) []byte   { return append(b, m.Axis) }
func (m ReadGains) appendTo(b []byte) []byte   { return append(b, m.Axis) }
func (m SetPoint) appendTo(b []byte) []byte    { return appendTargets(b, m.Targets) }

func (m Stream) appendTo(b []byte) []byte {
	return appendTargets(little.AppendUint32(b, m.TimeMicros), m.Targets)
}

func (m TablePart) appendTo(b []byte) []byte {
	b = append(b, m.Axis, m.Offset, m.Total)
	for _, p := range m.Points {
		b = little.AppendUint32(b, uint32(p.RatioQ13))
		b = little.AppendUint16(b, p.PulseTenths)
	}
	return b
}

func (m LoopGains) appendTo(b []byte) []byte {
	b = append(b, m.Axis, m.Counter)
	for _, d := range [...]Decimal{m.Kp, m.Ki, m.Kd, m.FeedForward} {
		b = append(little.AppendUint32(b, uint32(d.Mantissa)), uint8(d.Exponent))
	}
	b = little.AppendUint16(b, m.FilterTenthMillis)
	b = little.AppendUint16(b, m.SetPointWeight1000)
	b = little.AppendUint32(b, uint32(m.RatioLeastQ13))
	b = little.AppendUint32(b, uint32(m.RatioMostQ13))
	b = little.AppendUint16(b, m.TrackingMillis)
	b = little.AppendUint32(b, m.HoldZoneCounts)
	b = little.AppendUint32(b, m.HoldReleaseCounts)
	b = little.AppendUint16(b, m.HoldDelayMillis)
	return little.AppendUint16(b, m.PeriodMillis)
}

func appendTargets(b []byte, targets []Target) []byte {
	for _, p := range targets {
		b = append(b, p.Axis, uint8(p.Mode))
		b = little.AppendUint32(b, uint32(p.Value16))
		b = little.AppendUint32(b, uint32(p.Rate16))
	}
	return b
}

func parseTablePart(r *reader) TablePart {
	m := TablePart{Axis: r.u8(), Offset: r.u8(), Total: r.u8()}
	for r.more() {
		m.Points = append(m.Points, bench.TablePoint{RatioQ13: r.i32(), PulseTenths: r.u16()})
	}
	return m
}

func parseDecimal(r *reader) Decimal { return Decimal{Mantissa: r.i32(), Exponent: r.i8()} }

func parseLoopGains(r *reader) LoopGains {
	return LoopGains{
		Axis: r.u8(), Counter: r.u8(),
		Kp: parseDecimal(r), Ki: parseDecimal(r), Kd: parseDecimal(r), FeedForward: parseDecimal(r),
		FilterTenthMillis: r.u16(), SetPointWeight1000: r.u16(),
		RatioLeastQ13: r.i32(), RatioMostQ13: r.i32(),
		TrackingMillis: r.u16(),
		HoldZoneCounts: r.u32(), HoldReleaseCounts: r.u32(), HoldDelayMillis: r.u16(),
		PeriodMillis: r.u16(),
	}
}

func parseReadTable(r *reader) Message { return ReadTable{Axis: r.u8()} }
func parseReadGains(r *reader) Message { return ReadGains{Axis: r.u8()} }
func parseSetPoint(r *reader) Message  { return SetPoint{Targets: parseTargets(r)} }

func parseStream(r *reader) Message {
	return Stream{TimeMicros: r.u32(), Targets: parseTargets(r)}
}

func parseTargets(r *reader) (targets []Target) {
	for r.more() {
		targets = append(targets, Target{Axis: r.u8(), Mode: bench.Mode(r.u8()), Value16: r.i32(), Rate16: r.i32()})
	}
	return targets
}

func (m Table) check() bool       { return TablePart(m).check() }
func (m TableReport) check() bool { return TablePart(m).check() }
func (m Gains) check() bool       { return LoopGains(m).check() }
func (m GainsReport) check() bool { return LoopGains(m).check() }
func (ReadTable) check() bool     { return true }
func (ReadGains) check() bool     { return true }
func (m SetPoint) check() bool    { return targetsFit(m.Targets) }
func (m Stream) check() bool      { return targetsFit(m.Targets) }

// check asks of a part only what it can show by itself; CheckTable judges the
// whole.
func (m TablePart) check() bool {
	for i, p := range m.Points {
		if p.PulseTenths == 0 || !pulseFits(p.PulseTenths) || i > 0 && p.RatioQ13 < m.Points[i-1].RatioQ13 {
			return false
		}
	}
	n := len(m.Points)
	return n >= 1 && m.Total >= 2 && m.Total <= MostTable && int(m.Offset)+n <= int(m.Total)
}

func (m LoopGains) check() bool {
	for _, d := range [...]Decimal{m.Kp, m.Ki, m.Kd, m.FeedForward} {
		if !d.fits() || d.Mantissa < 0 {
			return false
		}
	}
	return m.SetPointWeight1000 <= 1000 && m.RatioLeastQ13 < 0 && m.RatioMostQ13 > 0 &&
		(m.Ki.Mantissa == 0 || m.TrackingMillis >= m.PeriodMillis) &&
		m.HoldZoneCounts <= m.HoldReleaseCounts && m.HoldReleaseCounts <= most31 &&
		m.PeriodMillis >= 1
}

func targetsFit(targets []Target) bool {
	for _, p := range targets {
		if p.Mode > bench.Speed || p.Mode == bench.Speed && p.Rate16 != 0 {
			return false
		}
	}
	n := len(targets)
	return n >= 1 && n <= bench.MaxAxes && distinct(n, func(i int) uint8 { return targets[i].Axis })
}

func (m Table) fields(t *text)       { TablePart(m).fields(t) }
func (m TableReport) fields(t *text) { TablePart(m).fields(t) }
func (m Gains) fields(t *text)       { LoopGains(m).fields(t) }
func (m GainsReport) fields(t *text) { LoopGains(m).fields(t) }
func (m ReadTable) fields(t *text)   { t.add("axis", int64(m.Axis)) }
func (m ReadGains) fields(t *text)   { t.add("axis", int64(m.Axis)) }
func (m SetPoint) fields(t *text)    { targetFields(t, m.Targets) }

func (m Stream) fields(t *text) {
	t.add("time", int64(m.TimeMicros))
	targetFields(t, m.Targets)
}

func (m TablePart) fields(t *text) {
	t.add("axis", int64(m.Axis))
	t.add("offset", int64(m.Offset))
	t.add("total", int64(m.Total))
	for _, p := range m.Points {
		t.add("ratio", int64(p.RatioQ13))
		t.add("pulse", int64(p.PulseTenths))
	}
}

func (m LoopGains) fields(t *text) {
	t.add("axis", int64(m.Axis))
	t.add("counter", int64(m.Counter))
	for i, d := range [...]Decimal{m.Kp, m.Ki, m.Kd, m.FeedForward} {
		name := [...]string{"kp", "ki", "kd", "feed_forward"}[i]
		t.add(name, int64(d.Mantissa))
		t.add(name+"_exponent", int64(d.Exponent))
	}
	t.add("filter", int64(m.FilterTenthMillis))
	t.add("weight", int64(m.SetPointWeight1000))
	t.add("least", int64(m.RatioLeastQ13))
	t.add("most", int64(m.RatioMostQ13))
	t.add("tracking", int64(m.TrackingMillis))
	t.add("hold_zone", int64(m.HoldZoneCounts))
	t.add("hold_release", int64(m.HoldReleaseCounts))
	t.add("hold_delay", int64(m.HoldDelayMillis))
	t.add("period", int64(m.PeriodMillis))
}

func targetFields(t *text, targets []Target) {
	for _, p := range targets {
		t.add("axis", int64(p.Axis))
		t.add("mode", int64(p.Mode))
		t.add("value", int64(p.Value16))
		t.add("rate", int64(p.Rate16))
	}
}
