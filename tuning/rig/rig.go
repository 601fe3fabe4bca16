package rig

import (
	"math"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Format is the newest format of the description that this package reads.
const Format = 1

// Rig is a rig as its maker describes it, defaults filled in. Axes and Joints stand in the order of the file, and every
// index of an axis or a joint in this package is its place there. The controller's number of an axis is its Servo.
type Rig struct {
	Format int     `json:"format"`
	Name   string  `json:"name"`
	Drive  Drive   `json:"drive"`
	Axes   []Axis  `json:"axes"`
	Joints []Joint `json:"joints"`
	Goals  Goals   `json:"goals"`
}

// Drive is the motor and the drive shaft.
type Drive struct {
	NominalRPM        units.RPM `json:"nominal_rpm"`
	Reversible        bool      `json:"reversible"`
	Selector          bool      `json:"selector"`
	ChangeoverSeconds float64   `json:"changeover_s"` // of the selector; 0 without one
	Sensor            Sensor    `json:"sensor"`
}

// Sensor is a sensor input and what it counts.
type Sensor struct {
	Counter       int              // the controller's number
	Kind          bench.SensorKind // in JSON a word
	CountsPerTurn int              // of the sensor's own shaft; 0 is not said, on a joint only
	CountsPerUnit float64          // for a mm or degree of a joint, signed; 0 elsewhere
}

// Directed reports whether the sensor tells forward from backward, without which it cannot say where anything stands.
func (s Sensor) Directed() bool { return s.Kind != bench.Mark }

// Axis is one variator and its servo.
type Axis struct {
	Name     string   `json:"name"`
	Servo    int      `json:"servo"` // the controller's axis number
	Worm     bool     `json:"worm"`
	Pulse    Pulse    `json:"pulse"`
	Sensor   *Sensor  `json:"sensor"` // at the output wheel; nil where there is none
	Variator Variator `json:"variator"`
}

// Pulse bounds what a servo is sent.
type Pulse struct {
	Least      units.Pulse `json:"least_us"`
	Most       units.Pulse `json:"most_us"`
	Middle     units.Pulse `json:"middle_us"`     // where the servo was assembled, not the neutral
	SlewPerSec units.Pulse `json:"slew_us_per_s"` // 0 is no bound
}

// Limits are the bounds as the controller takes them.
func (p Pulse) Limits() bench.PulseLimits {
	return bench.PulseLimits{Least: p.Least, Most: p.Most, SlewPerSec: p.SlewPerSec}
}

// Contacts is the form of a variator.
type Contacts string

// Forms of a variator: a ball between two wheels, a wheel across a flat disc, or one whose law nobody knows.
const (
	Ball        Contacts = "ball"
	WheelOnDisc Contacts = "wheel on disc"
	Unknown     Contacts = "unknown"
)

// Variator is what the maker knows of a variator's build; 0 in a field is not known.
type Variator struct {
	Contacts              Contacts `json:"contacts"`
	DriveWheelMM          float64  `json:"drive_wheel_mm"` // diameter; of the disc in WheelOnDisc
	OutputWheelMM         float64  `json:"output_wheel_mm"`
	WheelTolerancePercent float64  `json:"wheel_tolerance_percent"` // half-width, each diameter
	DegreesPerMicrosecond float64  `json:"degrees_per_us"`
}

// WheelQuotient is drive wheel over output wheel with its standard error, and whether the wheels are known. Each
// diameter is taken as spread evenly over its tolerance (JCGM 100:2008, 4.3.7), the two independent.
func (v Variator) WheelQuotient() (units.Estimate, bool) {
	if v.DriveWheelMM == 0 || v.OutputWheelMM == 0 {
		return units.Estimate{}, false
	}
	k := v.DriveWheelMM / v.OutputWheelMM
	return units.Estimate{Value: k, StdErr: k * v.WheelTolerancePercent / 100 * math.Sqrt(2.0/3.0)}, true
}

// Numbers behind LargestRatio. Usable tilt is about 60 degrees each way by common practice; assembly by hand leaves the
// middle uncertain by some degrees.
const (
	usableTiltDegrees   = 60
	assemblyDegrees     = 5
	largestRatioUnknown = 2
)

// LargestRatio is the largest ratio, either way, that this axis can plausibly give: a bound for edge rates, not an
// estimate. A ball is taken to usable tilt or, where the servo's throw is known to be less, to the end of the throw; a
// wheel on a disc to the rim; anything else to 2.
func (a Axis) LargestRatio() units.Ratio {
	quotient, known := a.Variator.WheelQuotient()
	switch a.Variator.Contacts {
	case Ball:
		k := 1.0
		if known {
			k = quotient.Value
		}
		return units.Ratio(k * math.Tan(a.largestTiltDegrees()*math.Pi/180))
	case WheelOnDisc:
		if known {
			return units.Ratio(quotient.Value)
		}
	}
	return largestRatioUnknown
}

func (a Axis) largestTiltDegrees() float64 {
	perMicrosecond := a.Variator.DegreesPerMicrosecond
	if perMicrosecond == 0 {
		return usableTiltDegrees
	}
	throw := float64(max(a.Pulse.Most-a.Pulse.Middle, a.Pulse.Middle-a.Pulse.Least))
	return min(usableTiltDegrees, throw*perMicrosecond+assemblyDegrees)
}

// Unit is what a joint moves in.
type Unit string

// Units of joints.
const (
	Millimetres Unit = "mm"
	Degrees     Unit = "deg"
)

// Joint is what moves usefully.
type Joint struct {
	Name          string    `json:"name"`
	Unit          Unit      `json:"unit"`
	PerTurn       []float64 `json:"per_turn"` // units for an output turn forward, one an axis
	Endless       bool      `json:"endless"`
	Travel        Bound     `json:"travel"` // from the datum; noughts where Endless
	Datum         string    `json:"datum"`  // in words; empty where Endless
	FreeAtStart   float64   `json:"free_at_start"`
	CarriesWeight bool      `json:"carries_weight"`
	Tolerance     float64   `json:"tolerance"` // settled error that is asked for, in Unit
	Sensor        *Sensor   `json:"sensor"`    // on the joint itself; nil where there is none
}

// Bound is a stretch of a joint's movement, in the joint's unit.
type Bound struct {
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

// Contains reports whether position is within the bound.
func (b Bound) Contains(position float64) bool { return position >= b.Least && position <= b.Most }

// Goals is what is asked of the calibration.
type Goals struct {
	CurvePercent float64     `json:"curve_percent"` // standard error of the ratio, percent of the ratio
	Edge         units.Pulse `json:"edge_us"`       // standard error of an edge
	Ms           float64     `json:"ms"`            // greatest sensitivity peak
}

// AxisNamed is the index of the axis of that name, and whether there is one.
func (r Rig) AxisNamed(name string) (int, bool) {
	for i := range r.Axes {
		if r.Axes[i].Name == name {
			return i, true
		}
	}
	return 0, false
}

// Moves are the indexes of the joints that an axis moves.
func (r Rig) Moves(axis int) []int {
	var moved []int
	for j := range r.Joints {
		if r.Joints[j].PerTurn[axis] != 0 {
			moved = append(moved, j)
		}
	}
	return moved
}
