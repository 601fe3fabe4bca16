// Package finding holds findings: mechanical faults and oddities that the
// counts gave away, each with its evidence, its likely causes, and the one look
// or touch by the person that tells them apart.
//
// A finding is a value and part of the record; its names are never changed,
// only added to.
package finding

import "trunnion/tuning/units"

// Name of a finding, a short phrase in the trade's words.
type Name string

// The findings known so far.
const (
	DriveDead         Name = "drive does not turn"
	DriveReversed     Name = "drive counts backward"
	DriveSlow         Name = "drive slower than its nominal speed"
	OutputsSwapped    Name = "another output turns"
	OutputDead        Name = "output does not turn"
	DirectionReversed Name = "direction reversed"
	CountsAtRest      Name = "counts while nothing should turn"
	NoStillPulse      Name = "no pulse holds the output still"
	ServoStop         Name = "tilt stops growing before the pulse limit"
	SidesUnequal      Name = "sides unequal"
	BandEaten         Name = "neutral not safe"
	OffCentre         Name = "dead band far from the middle pulse"
	PoorFit           Name = "curve does not follow its law"
	NotLinear         Name = "step answers differ"
	NotSettled        Name = "set-point not reached"
	Overshoot         Name = "overshoot beyond prediction"
)

// Weight of a finding.
type Weight string

// A finding is worth a look, or keeps the task from being finished.
const (
	Look  Weight = "look"
	Grave Weight = "grave"
)

// Finding is one fault or oddity.
type Finding struct {
	Name     Name            `json:"name"`
	Weight   Weight          `json:"weight"`
	Evidence string          `json:"evidence"`       // what was seen, in numbers with units
	Size     *units.Estimate `json:"size,omitempty"` // in the unit that SizeUnit names
	SizeUnit string          `json:"size_unit,omitempty"`
	OneOf    []string        `json:"one_of"`  // likely causes
	ToTell   string          `json:"to_tell"` // the look or touch that tells them apart
	Cure     string          `json:"cure"`    // what to do about the likeliest
}
