package variator

import (
	"fmt"
	"math"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Reading is one measured ratio at one pulse.
type Reading struct {
	Pulse    units.Pulse      `json:"pulse_us"`
	Ratio    float64          `json:"ratio"`          // output turns per shaft turn, signed
	StdErr   float64          `json:"standard_error"` // of Ratio; positive
	Approach measure.Approach `json:"approach,omitempty"`
}

// FromMeasured takes over measured readings. One without a finite error says nothing and is passed over.
func FromMeasured(measured []measure.Reading) []Reading {
	readings := make([]Reading, 0, len(measured))
	for _, m := range measured {
		if m.Ratio.StdErr > 0 && !math.IsInf(m.Ratio.StdErr, 1) {
			readings = append(readings, Reading{Pulse: m.Pulse, Ratio: m.Ratio.Value, StdErr: m.Ratio.StdErr, Approach: m.Approach})
		}
	}
	return readings
}

// ReadingsError reports readings that no curve can be fitted to.
type ReadingsError struct {
	Index  int    // of the reading at fault; -1 where it is all of them
	Reason string // what is wrong
	Remedy string // what to do
}

func (e *ReadingsError) Error() string {
	if e.Index >= 0 {
		return fmt.Sprintf("variator: reading %d: %s; %s", e.Index, e.Reason, e.Remedy)
	}
	return fmt.Sprintf("variator: %s; %s", e.Reason, e.Remedy)
}

// leastPerSide is the fewest turning readings on each side of the dead band from which a curve can be judged.
const leastPerSide = 3

// readingData is the readings as the fit wants them.
type readingData struct {
	pulse, ratio, sigma []float64
	way                 []float64 // +1 outward, -1 inward, 0 unknown
	hysteresis          bool      // both approaches are there, so their difference can be fitted
}

func (d *readingData) len() int { return len(d.pulse) }

// pick is the readings at the given indices.
func (d *readingData) pick(indices []int) *readingData {
	part := &readingData{hysteresis: d.hysteresis}
	for _, i := range indices {
		part.add(d.pulse[i], d.ratio[i], d.sigma[i], d.way[i])
	}
	return part
}

func (d *readingData) add(pulse, ratio, sigma, way float64) {
	d.pulse = append(d.pulse, pulse)
	d.ratio = append(d.ratio, ratio)
	d.sigma = append(d.sigma, sigma)
	d.way = append(d.way, way)
}

// gather checks the readings and takes them apart.
func gather(readings []Reading) (*readingData, error) {
	d := &readingData{}
	outward, inward := 0, 0
	for i, r := range readings {
		p := float64(r.Pulse)
		switch {
		case math.IsNaN(p) || math.IsInf(p, 0) || math.IsNaN(r.Ratio) || math.IsInf(r.Ratio, 0):
			return nil, &ReadingsError{Index: i, Reason: "pulse or ratio is no number", Remedy: "leave it out"}
		case !(r.StdErr > 0) || math.IsInf(r.StdErr, 1):
			return nil, &ReadingsError{Index: i, Reason: fmt.Sprintf("its standard error is %v", r.StdErr),
				Remedy: "give each reading a positive standard error, its resolution at least"}
		}
		way := 0.0
		switch r.Approach {
		case measure.Outward:
			way = 1
			outward++
		case measure.Inward:
			way = -1
			inward++
		case "":
		default:
			return nil, &ReadingsError{Index: i, Reason: fmt.Sprintf("approach %q is not known", r.Approach),
				Remedy: "use outward, inward or none"}
		}
		d.add(p, r.Ratio, r.StdErr, way)
	}
	d.hysteresis = outward >= leastPerSide && inward >= leastPerSide
	return d, d.checkSides()
}

func (d *readingData) checkSides() error {
	forward, backward := 0, 0
	for i := range d.pulse {
		switch {
		case d.ratio[i] > turningSigmas*d.sigma[i]:
			forward++
		case d.ratio[i] < -turningSigmas*d.sigma[i]:
			backward++
		}
	}
	if forward < leastPerSide || backward < leastPerSide {
		return &ReadingsError{Index: -1,
			Reason: fmt.Sprintf("%d readings turn forward and %d backward", forward, backward),
			Remedy: fmt.Sprintf("take at least %d on each side of the dead band", leastPerSide)}
	}
	return nil
}

// turningSigmas is how many standard errors from zero count as turning.
const turningSigmas = 3
