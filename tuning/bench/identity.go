package bench

import "trunnion/tuning/units"

// Identity is what a controller says of itself.
type Identity struct {
	Name           string // of the controller, not of the rig
	ProtocolMajor  int
	ProtocolMinor  int
	Boot           uint32 // differs after every restart of the controller
	Axes           int
	Counters       []CounterIdentity
	PulseLeast     units.Pulse // shortest pulse the controller can make
	PulseMost      units.Pulse // longest
	FrameMicros    int         // servo frame
	MostSampleRate int         // samples a second
	SampleRate     int         // in force, samples a second
	MostTable      int         // points in an inverse table
	Reversible     bool        // the drive can turn in reverse
	Selector       bool        // the drive engages one output at a time
	StopInput      bool        // a stop switch is wired
}

// CounterIdentity describes a sensor input.
type CounterIdentity struct {
	Kind          SensorKind
	CountsPerTurn int // of its own shaft; 0 where the controller cannot know
	MostEdgeRate  int // highest safe rate, edges a second
}

// SensorKind is what a counter counts.
type SensorKind uint8

// Kinds of sensors. A mark gives one count a turn and no direction.
const (
	Incremental SensorKind = iota
	Absolute
	Mark
)

func (k SensorKind) String() string {
	if k > Mark {
		return "unknown"
	}
	return [...]string{"incremental", "absolute", "mark"}[k]
}
