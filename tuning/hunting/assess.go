package hunting

import (
	"fmt"
	"math"
)

// Kind is how a loop at rest behaves.
type Kind int

// The kinds of behaviour at a set-point at rest.
const (
	Unclear Kind = iota // the record is too short to tell
	Quiet               // it stands still, but for the floor
	Dying               // it goes to and fro less and less
	Hunting             // it goes to and fro and does not stop
)

func (k Kind) String() string { return [...]string{"unclear", "quiet", "dying", "hunting"}[k] }

// Verdict is what a record says.
type Verdict struct {
	Kind      string  `json:"kind"`
	Hunting   bool    `json:"hunting"`
	Amplitude float64 `json:"amplitude_units"` // half of peak to peak in the last half of the record
	PeriodS   float64 `json:"period_s"`        // 0 where none was seen
	// PeriodStdErr is the standard error of the mean period, from the scatter of the single ones.
	PeriodStdErr float64 `json:"period_standard_error_s"`
	Cycles       int     `json:"cycles"` // whole ones in the last half
	Words        string  `json:"words"`
}

const (
	leastCycles = 3
	dyingShare  = 0.85 // of the quarter before: less is taken for dying
	crossShare  = 0.3  // a crossing counts after so much of the amplitude on the other side
)

// Assess judges readings of a position at rest, evenly spaced and with the approach left out: peak to peak below twice
// the floor is quiet. The floor is what the sensor shows of an axis that stands still, one step of it for example.
func Assess(y []float64, everyS, floor float64) Verdict {
	n := len(y)
	if n < 16 {
		return Verdict{Kind: Unclear.String(), Words: "there are too few readings to tell"}
	}
	half := y[n/2:]
	low, high := span(half)
	v := Verdict{Amplitude: (high - low) / 2}
	if high-low <= 2*floor {
		v.Kind, v.Words = Quiet.String(), "it stands still"
		return v
	}
	v.addPeriods(half, (low+high)/2, crossShare*v.Amplitude, everyS)
	l3, h3 := span(y[n/2 : 3*n/4])
	l4, h4 := span(y[3*n/4:])
	switch {
	case h4-l4 <= 2*floor:
		v.Kind, v.Words = Quiet.String(), "it came to rest"
	case h4-l4 < dyingShare*(h3-l3):
		v.Kind, v.Words = Dying.String(), "it goes to and fro less and less"
	case v.Cycles < leastCycles:
		v.Kind, v.Words = Unclear.String(), "it still moves, but the record is too short to tell whether it repeats"
	default:
		v.Kind, v.Hunting = Hunting.String(), true
		v.Words = fmt.Sprintf("it hunts by %.3g to either side, once in %.3g s", v.Amplitude, v.PeriodS)
	}
	return v
}

// addPeriods measures the times between rises through the middle. A rise counts only after the signal was as far below
// as the dead zone says.
func (v *Verdict) addPeriods(y []float64, middle, zone, everyS float64) {
	armed := false
	last := math.NaN()
	var sum, squares float64
	for k, x := range y {
		switch {
		case x < middle-zone:
			armed = true
		case armed && x > middle:
			armed = false
			at := float64(k)
			if before := y[max(k-1, 0)]; x != before {
				at -= (x - middle) / (x - before)
			}
			if !math.IsNaN(last) {
				d := (at - last) * everyS
				sum, squares = sum+d, squares+d*d
				v.Cycles++
			}
			last = at
		}
	}
	if v.Cycles == 0 {
		return
	}
	n := float64(v.Cycles)
	v.PeriodS = sum / n
	if v.Cycles > 1 {
		v.PeriodStdErr = math.Sqrt(max(0, squares-sum*sum/n) / (n - 1) / n)
	}
}

func span(y []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, x := range y {
		low, high = min(low, x), max(high, x)
	}
	return low, high
}
