package process

import (
	"fmt"
	"math"
)

// Sample is shaft and output at one moment.
type Sample struct {
	TimeS      float64 // on the controller's clock
	ShaftTurns float64 // of the drive shaft, unwrapped
	Counts     float64 // of the output's counter, unwrapped
}

// Step is one change of the pulse, watched from before it to after the axis has settled.
type Step struct {
	Samples     []Sample // rising in time; the shaft turns through them
	AtS         float64  // when the new pulse took effect
	FromRatio   float64  // wanted before, by the ratio curve
	ToRatio     float64  // and after
	FromPulseUs float64  // the pulses themselves; used only with Settings.SlewUsPerS
	ToPulseUs   float64
}

// Settings says what is known of the axis.
type Settings struct {
	// CountsPerTurn is the output counter's, of one turn of the output. Negative where it counts backward.
	CountsPerTurn float64
	// QuantumCounts is the step of the counts; 0 means 1.
	QuantumCounts float64
	// SlewUsPerS is how fast the servo can change, in microseconds of pulse a second. 0: unknown or much quicker than
	// the axis; what it costs is then found as dead time and lag.
	SlewUsPerS float64
	// Curve is the ratio at a pulse, for the way of the ratio while the servo slews. Nil is a straight way.
	Curve func(pulseUs float64) float64
	// Harmonics is how many sines and cosines of the shaft angle are removed as runout: 0 to 3.
	Harmonics int
	// FromRest says that the output stood still before every step, so that r0 is 0.
	FromRest bool
	// NoLag fixes the lag at 0.
	NoLag bool
}

// InputError says what is wrong with what was given.
type InputError struct {
	Step   int // which step, from 0; -1 where it is the settings
	Reason string
}

func (e *InputError) Error() string {
	if e.Step < 0 {
		return "process: " + e.Reason
	}
	return fmt.Sprintf("process: step %d: %s", e.Step, e.Reason)
}

const (
	mostHarmonics = 3
	leastSamples  = 12
	leastAfter    = 6 // samples after the pulse took effect
)

func (s Settings) validate() error {
	switch {
	case s.CountsPerTurn == 0 || math.IsNaN(s.CountsPerTurn) || math.IsInf(s.CountsPerTurn, 0):
		return &InputError{-1, fmt.Sprintf("counts per turn are %v; they must be finite and not nought", s.CountsPerTurn)}
	case !(s.QuantumCounts >= 0) || math.IsInf(s.QuantumCounts, 1):
		return &InputError{-1, fmt.Sprintf("the step of the counts is %v; it must be positive", s.QuantumCounts)}
	case !(s.SlewUsPerS >= 0) || math.IsInf(s.SlewUsPerS, 1):
		return &InputError{-1, fmt.Sprintf("the servo's slew is %v; it must be positive, or 0 where it is not known", s.SlewUsPerS)}
	case s.Harmonics < 0 || s.Harmonics > mostHarmonics:
		return &InputError{-1, fmt.Sprintf("%d harmonics; from 0 to %d", s.Harmonics, mostHarmonics)}
	}
	return nil
}

func (s Settings) quantum() float64 {
	if s.QuantumCounts == 0 {
		return 1
	}
	return s.QuantumCounts
}

// validate checks a step; i is its number.
func (st Step) validate(i int, s Settings) error {
	if len(st.Samples) < leastSamples {
		return &InputError{i, fmt.Sprintf("it has %d samples; at least %d are needed", len(st.Samples), leastSamples)}
	}
	after := 0
	for j, v := range st.Samples {
		if math.IsNaN(v.TimeS+v.ShaftTurns+v.Counts) || math.IsInf(v.TimeS+v.ShaftTurns+v.Counts, 0) {
			return &InputError{i, fmt.Sprintf("sample %d is not finite", j)}
		}
		if j > 0 && !(v.TimeS > st.Samples[j-1].TimeS) {
			return &InputError{i, fmt.Sprintf("sample %d is not later than the one before it", j)}
		}
		if v.TimeS > st.AtS {
			after++
		}
	}
	first, last := st.Samples[0], st.Samples[len(st.Samples)-1]
	switch {
	case after < leastAfter:
		return &InputError{i, fmt.Sprintf("it has %d samples after the pulse took effect; at least %d are needed", after, leastAfter)}
	case first.TimeS > st.AtS && !s.FromRest:
		return &InputError{i, "its first sample comes after the pulse took effect; watch the steady run before as well"}
	case last.ShaftTurns == first.ShaftTurns:
		return &InputError{i, "the drive shaft did not turn"}
	case st.ToRatio == st.FromRatio:
		return &InputError{i, "the wanted ratio is the same before and after"}
	case s.SlewUsPerS > 0 && st.ToPulseUs == st.FromPulseUs:
		return &InputError{i, "with a known slew the pulses must be given and differ"}
	}
	return nil
}
