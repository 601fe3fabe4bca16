package check

import (
	"fmt"
	"math"

	"trunnion/tuning/finding"
	"trunnion/tuning/units"
)

// Bounds of what needs a look.
const (
	// farFromMiddle: a tooth of a common servo spline (24 or 25 a turn, 14.4 to
	// 15 degrees) is about 160 us at 0.09 degrees a microsecond; half of one says
	// that the horn would have gone on better one tooth over.
	farFromMiddle = 80.0
	speedShare    = 0.2 // of the nominal speed
)

func reversed(r Result) finding.Finding {
	return finding.Finding{
		Name: finding.DirectionReversed, Weight: finding.Look,
		Evidence: fmt.Sprintf("pulses above %v turn the output so that its counter counts down, pulses below %v so that it counts up", r.RoughAbove, r.RoughBelow),
		OneOf:    []string{"counter leads of the output swapped", "servo horn on the other way round", "drive turning backward"},
		ToTell:   fmt.Sprintf("watch the output at %.0f us with the drive on: does it turn the way you call forward? If it does, it is the counter; if not, the servo or the drive", float64(r.RoughAbove)+30),
		Cure:     "swap the two counter leads, or turn the horn round, or leave it: the curve and the loop are sound either way, and only \"forward\" is named differently",
	}
}

func offCentre(r Result, middle units.Pulse) finding.Finding {
	size := units.Estimate{Value: float64(r.Neutral - middle), StdErr: edgeStep / math.Sqrt(12)}
	return finding.Finding{
		Name: finding.OffCentre, Weight: finding.Look,
		Evidence: fmt.Sprintf("the dead band lies about %v, %.0f us from the %v at which the servo was assembled", r.Neutral, size.Value, middle),
		Size:     &size, SizeUnit: "us",
		OneOf:  []string{"servo horn a tooth off its spline", "linkage rod too long or too short"},
		ToTell: "look at the tilt frame at neutral: is it square to the drive wheel while the servo horn is not?",
		Cure:   "put the horn a tooth over, or set the rod; otherwise one side has less tilt to give",
	}
}

func slow(r Result, nominal units.RPM) finding.Finding {
	return finding.Finding{
		Name: finding.DriveSlow, Weight: finding.Look,
		Evidence: fmt.Sprintf("the drive shaft turns at %.0f rpm; the rig file says %v", r.ShaftSpeed.Value, nominal),
		Size:     &r.ShaftSpeed, SizeUnit: "rpm",
		OneOf:  []string{"counts_per_turn of the drive sensor is wrong in the rig file", "motor supply low", "a bearing or contact drags"},
		ToTell: "count the shaft's turns by a mark for ten seconds at rest of all axes",
		Cure:   "correct counts_per_turn or nominal_rpm in the rig file, or free the shaft",
	}
}

// driveBackward ends a check: with a shaft that counts down every ratio has the
// other sign, and a closed loop would run away from its set-point.
func driveBackward(turns float64) *finding.Error {
	return &finding.Error{Finding: finding.Finding{
		Name: finding.DriveReversed, Weight: finding.Grave,
		Evidence: fmt.Sprintf("the drive was sent forward and its counter went %+.1f turns", turns),
		OneOf:    []string{"leads of the drive counter swapped", "motor leads swapped"},
		ToTell:   "look at the shaft: does it turn the way you call forward?",
		Cure:     "if it does, swap the counter's leads; if not, the motor's; then check again",
	}}
}

func outputsSwapped(name, other string, pulse units.Pulse, turns float64) *finding.Error {
	return &finding.Error{Finding: finding.Finding{
		Name: finding.OutputsSwapped, Weight: finding.Grave,
		Evidence: fmt.Sprintf("only %s was tilted, to %v, and the counter of %s went %+.2f turns", name, pulse, other, turns),
		OneOf:    []string{fmt.Sprintf("servo leads of %s and %s swapped", name, other), fmt.Sprintf("counter leads of %s and %s swapped", name, other), fmt.Sprintf("%s does not stand at its neutral", other)},
		ToTell:   fmt.Sprintf("watch the machine: which of the two moves when %s is tilted?", name),
		Cure:     "swap the leads of whichever is wrong, or change servo or counter in the rig file",
	}}
}

func countsAtRest(counter int, counts units.Counts) finding.Finding {
	return finding.Finding{
		Name: finding.CountsAtRest, Weight: finding.Grave,
		Evidence: fmt.Sprintf("counter %d went %d counts while the drive was off", counter, counts),
		OneOf:    []string{"somebody or something turns the machine", "counter leads pick up the motor or the servo", "a counter input hangs free"},
		ToTell:   "see that all stands still; then touch nothing and watch the counter",
		Cure:     "screen and ground the counter leads, and look for a loose plug",
	}
}

func noStillPulse(bursts []Burst) *finding.Error {
	first, last := bursts[0], bursts[len(bursts)-1]
	return &finding.Error{Finding: finding.Finding{
		Name: finding.NoStillPulse, Weight: finding.Grave,
		Evidence: fmt.Sprintf("%d bursts from %v (ratio %+.3f) to %v (ratio %+.3f) all turned the output", len(bursts), first.Pulse, first.ratio(), last.Pulse, last.ratio()),
		OneOf:    []string{"servo horn far off its spline, so that the band lies outside the pulse limits", "servo not moving the tilt at all", "no dead band: ball and output wheel pressed out of place"},
		ToTell:   "tilt the frame by hand with the servo unplugged and the drive off: does a middle place exist where the output wheel is free of the ball's turning?",
		Cure:     "set horn and rod so that the frame stands square at the middle pulse",
	}}
}

func outputDead(jogged []Jog) *finding.Error {
	last := jogged[len(jogged)-1]
	return &finding.Error{Finding: finding.Finding{
		Name: finding.OutputDead, Weight: finding.Grave,
		Evidence: fmt.Sprintf("the pulse went to %v and the output's counter stood still (ratio %+.4f ±%.4f)", last.Pulse, last.Ratio.Value, last.Ratio.StdErr),
		OneOf:    []string{"servo unplugged or dead", "ball does not touch a wheel", "counter not connected or its wheel loose on the shaft", "output jammed"},
		ToTell:   "look at it: does the frame tilt? does the ball turn? does the output wheel turn?",
		Cure:     "mend the first of these that does not",
	}}
}

func servoStop(side string, at units.Pulse) finding.Finding {
	return finding.Finding{
		Name: finding.ServoStop, Weight: finding.Look,
		Evidence: fmt.Sprintf("%s %v the ratio no longer grows with the pulse", side, at),
		OneOf:    []string{"the servo is at the end of its travel", "the frame or the rod meets something", "the ball slips at this tilt"},
		ToTell:   "with the drive off, go to that pulse and listen: does the servo hum against a stop?",
		Cure:     "nothing, if that tilt is not needed: the limit was set before it; else set the horn or free the frame",
	}
}
