package bench

import (
	"time"

	"trunnion/tuning/units"
)

// Loop is what the controller needs to close an axis's loop: see the package
// comment of tuning/pid for the law.
type Loop struct {
	Counter int // whose counts are the measured value
	Table   []TablePoint
	Gains   Gains
}

// TablePoint pairs a ratio with the pulse that gives it. A table rises in
// RatioQ13 and has one pair of points with the same RatioQ13 of 0 or on either
// side of 0, between which the pulse jumps the dead band.
type TablePoint struct {
	RatioQ13    int32  `json:"ratio_q13"`    // ratio times 8192
	PulseTenths uint16 `json:"pulse_tenths"` // tenths of a microsecond
}

// Gains of the loop, per count of its counter. Fields marked with a scale are
// carried exactly at that scale.
type Gains struct {
	Kp             float64       // ratio per count
	Ki             float64       // ratio per count and second
	Kd             float64       // ratio per count/second
	FilterTime     time.Duration // of the derivative; to 0.1 ms
	SetPointWeight float64       // b, on Kp; to 1/1000
	FeedForward    float64       // ratio per count/second of the set-point's rate
	RatioLeast     units.Ratio   // bounds of the wanted ratio, to 1/8192
	RatioMost      units.Ratio
	TrackingTime   time.Duration // of the anti-windup; to 1 ms; 0 where Ki is 0
	HoldZone       units.Counts  // error at which the axis goes to neutral; 0 is none
	HoldRelease    units.Counts  // error at which it wakes; at least HoldZone
	HoldDelay      time.Duration // how long inside the zone before going to neutral; to 1 ms
	Period         time.Duration // of control; to 1 ms
}

// Mode of a set-point.
type Mode uint8

// A set-point is a position in counts or a speed in counts a second.
const (
	Position Mode = iota
	Speed
)

// SetPoint is where a closed loop shall go.
type SetPoint struct {
	Axis  int
	Mode  Mode
	Value float64 // counts, to 1/16; or counts a second, to 1/16
	Rate  float64 // of a moving position, counts a second, for the feed-forward; to 1/16
}

// TimedSetPoint is a set-point for a time on the controller's clock.
type TimedSetPoint struct {
	At units.Instant
	SetPoint
}
