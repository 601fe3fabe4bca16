package rig

import "trunnion/tuning/bench"

// Key describes one key of a description, for help and for remedies.
type Key struct {
	Name     string // dotted, with its tables
	Meaning  string
	Example  string // as it is written after the equals sign; empty for a table
	Required bool

	form        form
	least, most float64 // inclusive bounds of a number
	choices     []string
	otherwise   float64 // what a number is when left out
}

// form is what may stand at a key.
type form int

const (
	text form = iota
	whole
	number
	truth
	table  // [key]
	tables // [[key]]
)

func (f form) String() string {
	return [...]string{"text in quotes", "a whole number", "a number", "true or false", "a table", "a list of tables"}[f]
}

// Longest names, in characters: what a column of the console has room for.
const (
	longestRigName = 40
	longestName    = 24
	longestDatum   = 120
)

// Bounds of the keys. A counter cannot carry more than a 24-bit absolute sensor; the rest is what a bench machine with
// hobby servos can be.
const (
	mostCounts   = 1 << 24
	leastPulse   = 400
	mostPulse    = 2600
	leastSlew    = 20
	mostSlew     = 50000
	mostLength   = 1e6 // mm or degrees
	leastLength  = 1e-6
	mostPerUnit  = 1e7
	leastPerUnit = 1e-6
)

var kinds = []string{bench.Incremental.String(), bench.Absolute.String(), bench.Mark.String()}

// keys is every key there is. The examples together make a rig that Parse accepts.
var keys = []Key{
	{Name: "format", form: whole, Required: true, least: 1, most: Format, Example: "1", Meaning: "format of this description"},
	{Name: "name", form: text, Required: true, Example: `"scenery lift"`, Meaning: "name of the rig"},

	{Name: "drive", form: table, Required: true, Meaning: "the motor and the drive shaft"},
	{Name: "drive.nominal_rpm", form: number, Required: true, least: 1, most: 20000, Example: "420", Meaning: "speed of the drive shaft, turns a minute"},
	{Name: "drive.reversible", form: truth, Example: "false", Meaning: "whether the motor can turn in reverse"},
	{Name: "drive.selector", form: truth, Example: "true", Meaning: "whether the drive engages one output at a time"},
	{Name: "drive.changeover_s", form: number, least: 0.01, most: 60, Example: "0.4", Meaning: "seconds the selector takes to change over"},
	{Name: "drive.sensor", form: table, Required: true, Meaning: "the sensor on the drive shaft"},
	{Name: "drive.sensor.counter", form: whole, Required: true, most: bench.MaxCounters - 1, Example: "0", Meaning: "the controller's number for this sensor input"},
	{Name: "drive.sensor.kind", form: text, Required: true, choices: kinds, Example: `"incremental"`, Meaning: "kind of sensor"},
	{Name: "drive.sensor.counts_per_turn", form: whole, Required: true, least: 1, most: mostCounts, Example: "400", Meaning: "counts for a turn of the shaft, every edge counted"},

	{Name: "axis", form: tables, Required: true, Meaning: "one variator and its servo"},
	{Name: "axis.name", form: text, Required: true, Example: `"traverse"`, Meaning: "name of the axis"},
	{Name: "axis.servo", form: whole, Required: true, most: bench.MaxAxes - 1, Example: "0", Meaning: "the controller's axis number"},
	{Name: "axis.worm", form: truth, Required: true, Example: "true", Meaning: "whether a worm stands behind the output wheel"},
	{Name: "axis.pulse", form: table, Required: true, Meaning: "what the servo may be sent"},
	{Name: "axis.pulse.least_us", form: number, Required: true, least: leastPulse, most: mostPulse, Example: "1000", Meaning: "shortest pulse the servo is sent, microseconds"},
	{Name: "axis.pulse.most_us", form: number, Required: true, least: leastPulse, most: mostPulse, Example: "2000", Meaning: "longest pulse the servo is sent, microseconds"},
	{Name: "axis.pulse.middle_us", form: number, least: leastPulse, most: mostPulse, otherwise: 1500, Example: "1500", Meaning: "pulse at which the servo was assembled, microseconds"},
	{Name: "axis.pulse.slew_us_per_s", form: number, least: leastSlew, most: mostSlew, Example: "3000", Meaning: "fastest change of the pulse, microseconds a second"},
	{Name: "axis.sensor", form: table, Meaning: "the sensor at the output wheel"},
	{Name: "axis.sensor.counter", form: whole, Required: true, most: bench.MaxCounters - 1, Example: "1", Meaning: "the controller's number for this sensor input"},
	{Name: "axis.sensor.kind", form: text, Required: true, choices: kinds, Example: `"incremental"`, Meaning: "kind of sensor"},
	{Name: "axis.sensor.counts_per_turn", form: whole, Required: true, least: 1, most: mostCounts, Example: "400", Meaning: "counts for a turn of the output wheel, every edge counted"},
	{Name: "axis.variator", form: table, Meaning: "what is known of the variator's build"},
	{Name: "axis.variator.contacts", form: text, choices: []string{string(Ball), string(WheelOnDisc), string(Unknown)}, Example: `"ball"`, Meaning: "form of the variator"},
	{Name: "axis.variator.drive_wheel_mm", form: number, least: 0.1, most: 5000, Example: "30.0", Meaning: "diameter of the drive wheel or disc, mm"},
	{Name: "axis.variator.output_wheel_mm", form: number, least: 0.1, most: 5000, Example: "30.0", Meaning: "diameter of the output wheel, mm"},
	{Name: "axis.variator.wheel_tolerance_percent", form: number, least: 0.001, most: 20, otherwise: 1, Example: "1.0", Meaning: "each diameter is surely within this, percent"},
	{Name: "axis.variator.degrees_per_us", form: number, least: 0.001, most: 1, Example: "0.09", Meaning: "tilt for a microsecond of pulse, degrees"},

	{Name: "joint", form: tables, Required: true, Meaning: "what moves usefully; as many as axes"},
	{Name: "joint.name", form: text, Required: true, Example: `"trolley"`, Meaning: "name of the joint"},
	{Name: "joint.unit", form: text, Required: true, choices: []string{string(Millimetres), string(Degrees)}, Example: `"mm"`, Meaning: "what the joint moves in"},
	{Name: "joint.per_turn", form: table, Required: true, Example: "{ traverse = 4.0 }", Meaning: "joint movement for a turn of each named axis, in the joint's unit"},
	{Name: "joint.travel", form: table, Example: "{ least = -380, most = 380 }", Meaning: "where the joint may go, from its datum, in its unit"},
	{Name: "joint.travel.least", form: number, Required: true, least: -mostLength, most: mostLength, Example: "-380", Meaning: "lowest place of the joint"},
	{Name: "joint.travel.most", form: number, Required: true, least: -mostLength, most: mostLength, Example: "380", Meaning: "highest place of the joint"},
	{Name: "joint.endless", form: truth, Example: "false", Meaning: "whether the joint turns without end"},
	{Name: "joint.datum", form: text, Example: `"pointer on the white mark"`, Meaning: "in words, where the joint's agreed zero is"},
	{Name: "joint.free_at_start", form: number, least: leastLength, most: mostLength, Example: "60", Meaning: "travel that is surely free either way from where the joint stands at power-up, in its unit"},
	{Name: "joint.carries_weight", form: truth, Example: "false", Meaning: "whether up and down differ"},
	{Name: "joint.tolerance", form: number, least: leastLength, most: mostLength, otherwise: 0.5, Example: "0.5", Meaning: "settled error that is asked for, in the joint's unit"},
	{Name: "joint.sensor", form: table, Meaning: "the sensor on the joint itself"},
	{Name: "joint.sensor.counter", form: whole, Required: true, most: bench.MaxCounters - 1, Example: "2", Meaning: "the controller's number for this sensor input"},
	{Name: "joint.sensor.kind", form: text, Required: true, choices: kinds, Example: `"absolute"`, Meaning: "kind of sensor"},
	{Name: "joint.sensor.counts_per_turn", form: whole, least: 1, most: mostCounts, Example: "4096", Meaning: "counts for a turn of the sensor's own shaft"},
	{Name: "joint.sensor.counts_per_unit", form: number, least: -mostPerUnit, most: mostPerUnit, Example: "11.378", Meaning: "counts for a mm or degree of the joint; negative where it counts down as the joint goes up"},

	{Name: "goals", form: table, Meaning: "what is asked of the calibration"},
	{Name: "goals.curve_percent", form: number, least: 0.01, most: 20, otherwise: 0.5, Example: "0.5", Meaning: "standard error of the ratio curve, percent of the ratio"},
	{Name: "goals.edge_us", form: number, least: 0.1, most: 100, otherwise: 1, Example: "1.0", Meaning: "standard error of a dead-band edge, microseconds"},
	{Name: "goals.ms", form: number, least: 1.1, most: 3, otherwise: 1.6, Example: "1.6", Meaning: "greatest sensitivity peak Ms of a loop"},
}

// Keys lists every key of a description, in the order of the format's documentation.
func Keys() []Key { return append([]Key(nil), keys...) }

// keyNamed looks a key up; asking for one that is not listed is a mistake in this package.
func keyNamed(name string) Key {
	for _, k := range keys {
		if k.Name == name {
			return k
		}
	}
	panic("rig: no key " + name)
}
