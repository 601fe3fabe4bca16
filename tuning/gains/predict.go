package gains

import (
	"math"

	"trunnion/tuning/bench"
	"trunnion/tuning/pid"
	"trunnion/tuning/units"
)

// Point of a predicted response.
type Point struct {
	Seconds float64 `json:"t_s"`
	Counts  float64 `json:"counts"`
}

// Predict runs the control law, saturation, table and hold zone included, on
// the plant from rest at 0 to a set-point in counts, and returns the path every
// control period for the given time. The pulse waits for the next servo frame,
// then for the axis's dead time; the ratio follows with the axis's lag.
func Predict(r Result, points []bench.TablePoint, neutral units.Pulse, frame, setPoint, duration float64) ([]Point, error) {
	table, err := lawTable(points, float64(neutral))
	if err != nil {
		return nil, err
	}
	c, err := pid.NewController(r.Law, table, 0)
	if err != nil {
		return nil, err
	}
	p := plantRun{plant: r.Plant, step: 0.001}
	p.delay = make([]float64, max(1, int(math.Round(r.Plant.DeadTimeS/p.step))))
	h := r.Law.PeriodS
	var path []Point
	inForce, wanted := 0.0, 0.0
	framesEvery := max(1, int(math.Round(frame/p.step)))
	controlEvery := max(1, int(math.Round(h/p.step)))
	for k := 0; float64(k)*p.step <= duration; k++ {
		if k%controlEvery == 0 {
			path = append(path, Point{float64(k) * p.step, p.position})
			out := c.Step(math.Round(p.position), setPoint, 0)
			wanted = out.Ratio
			if out.Holding {
				wanted = 0
			}
			wanted = atTable(points, wanted)
		}
		if k%framesEvery == 0 {
			inForce = wanted
		}
		p.advance(inForce)
	}
	return path, nil
}

// plantRun integrates the plant in small steps; the lag is advanced exactly
// for a held input.
type plantRun struct {
	plant    Plant
	step     float64
	delay    []float64 // ring of ratios on their way
	next     int
	ratio    float64
	position float64
}

func (p *plantRun) advance(ratio float64) {
	arriving := p.delay[p.next]
	p.delay[p.next] = ratio
	p.next = (p.next + 1) % len(p.delay)
	keep := 0.0
	if p.plant.LagS > 0 {
		keep = math.Exp(-p.step / p.plant.LagS)
	}
	p.ratio = arriving + (p.ratio-arriving)*keep
	p.position += p.plant.RateGain * p.ratio * p.step
}

// atTable is what becomes of a wanted ratio at the table: nought inside half
// the inner ratio, the inner ratio up to it, the end ratio beyond the ends.
func atTable(points []bench.TablePoint, ratio float64) float64 {
	const scale = 8192
	inner, outer := 0.0, 0.0
	for _, p := range points {
		q := float64(p.RatioQ13) / scale
		if q*ratio <= 0 {
			continue
		}
		if inner == 0 || math.Abs(q) < math.Abs(inner) {
			inner = q
		}
		if math.Abs(q) > math.Abs(outer) {
			outer = q
		}
	}
	switch size := math.Abs(ratio); {
	case size < math.Abs(inner)/2:
		return 0
	case size < math.Abs(inner):
		return inner
	case size > math.Abs(outer):
		return outer
	}
	return ratio
}

// lawTable is the inverse table as the law takes it.
func lawTable(points []bench.TablePoint, neutral float64) (*pid.Table, error) {
	list := make([]pid.TablePoint, len(points))
	for i, p := range points {
		list[i] = pid.TablePoint{Ratio: float64(p.RatioQ13) / 8192, PulseUs: float64(p.PulseTenths) / 10}
	}
	return pid.NewTable(list, neutral)
}
