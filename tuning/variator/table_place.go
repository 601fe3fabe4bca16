package variator

import (
	"math"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// sampled is the exact inverse of one side at every integer ratio.
type sampled struct {
	first int32     // ratio in table steps
	pulse []float64 // us, from there on
}

func sampleSide(c curve, from, to float64) (*sampled, error) {
	if !(to-from >= 2) {
		return nil, &TableError{0, "the readings reach no ratio on one side; take some further out"}
	}
	s := &sampled{first: int32(from), pulse: make([]float64, int(to-from)+1)}
	for i := range s.pulse {
		p, ok := c.pulseFor((from + float64(i)) / ratioScale)
		if !ok {
			return nil, &TableError{0, "the curve does not reach its own ratios"}
		}
		s.pulse[i] = p
	}
	return s, nil
}

// place chooses n breakpoints. The straight line over each stretch may miss the curve to both sides; the stretches are
// made equal in how far they do, then each breakpoint's pulse is set and tuned.
func (s *sampled) place(n int) []bench.TablePoint {
	at := s.stretches(s.tolerance(n), n)
	points := make([]bench.TablePoint, len(at))
	for k, i := range at {
		points[k] = bench.TablePoint{RatioQ13: s.first + int32(i), PulseTenths: s.within(s.pulse[i] + s.lift(at, k))}
	}
	s.tune(points, at)
	return points
}

// within holds a pulse between those of the side's ends, so that no point leaves the readings outward or enters the
// dead band inward.
func (s *sampled) within(pulse float64) uint16 {
	a, b := s.pulse[0], s.pulse[len(s.pulse)-1]
	return units.Pulse(math.Max(math.Min(a, b), math.Min(pulse, math.Max(a, b)))).Tenths()
}

// tolerance is the least miss with which n breakpoints suffice.
func (s *sampled) tolerance(n int) float64 {
	const enough = 0.01 // us: a tenth of what a table can say; a straight curve needs no more points than two
	low, high := enough, enough+s.miss(0, len(s.pulse)-1)
	for high > 1.005*low {
		middle := math.Sqrt(low * high)
		if at := s.stretches(middle, n); at[len(at)-1] == len(s.pulse)-1 {
			high = middle
		} else {
			low = middle
		}
	}
	return high
}

// stretches are breakpoints, n at most, each as far from the one before as the tolerance lets it.
func (s *sampled) stretches(tolerance float64, n int) []int {
	at := []int{0}
	last := len(s.pulse) - 1
	for len(at) < n && at[len(at)-1] < last {
		from := at[len(at)-1]
		// The spread grows with the length of a stretch, so the longest is found by halving.
		near, far := from+1, last
		if s.miss(from, last) <= tolerance {
			near = last
		}
		for near < far {
			middle := (near + far + 1) / 2
			if s.miss(from, middle) <= tolerance {
				near = middle
			} else {
				far = middle - 1
			}
		}
		at = append(at, near)
	}
	return at
}

// spreadSamples is at how many places a stretch is compared with its chord while breakpoints are placed. The curve is
// smooth, so that the extremes are not missed by much; the error that is reported is counted at every ratio.
const spreadSamples = 24

// spread is the least and the greatest difference of the curve from its chord.
func (s *sampled) spread(from, to int) (least, most float64) {
	slope := (s.pulse[to] - s.pulse[from]) / float64(to-from)
	for i := from + 1; i < to; i += 1 + (to-from)/spreadSamples {
		d := s.pulse[i] - s.pulse[from] - slope*float64(i-from)
		if d < least {
			least = d
		} else if d > most {
			most = d
		}
	}
	return least, most
}

// miss is how far the line over a stretch will miss the curve once its ends are lifted: half the spread, or three
// quarters where one end stands at an end of the side and may not be lifted that way (see within).
func (s *sampled) miss(from, to int) float64 {
	least, most := s.spread(from, to)
	last := len(s.pulse) - 1
	rising := s.pulse[last] > s.pulse[0]
	up := least+most > 0
	if from == 0 && up != rising || to == last && up == rising {
		return 0.75 * (most - least)
	}
	return (most - least) / 2
}

// lift is how far a breakpoint should leave the curve so that the lines beside it miss it equally to both sides.
func (s *sampled) lift(at []int, k int) float64 {
	sum, count := 0.0, 0.0
	for _, j := range []int{k - 1, k} {
		if j >= 0 && j+1 < len(at) {
			least, most := s.spread(at[j], at[j+1])
			sum += (least + most) / 2
			count++
		}
	}
	return sum / count
}

// tune moves each pulse by tenths as long as that lowers the worst error of the two stretches beside it.
func (s *sampled) tune(points []bench.TablePoint, at []int) {
	for range 4 {
		moved := false
		for k := range points {
			moved = s.tuneOne(points, at, k) || moved
		}
		if !moved {
			return
		}
	}
}

func (s *sampled) tuneOne(points []bench.TablePoint, at []int, k int) (moved bool) {
	best := s.worstBeside(points, at, k)
	start := points[k].PulseTenths
	keep := start
	for _, step := range []int{-1, 1, -2, 2} {
		points[k].PulseTenths = s.within(float64(int(start)+step) / 10)
		if worst := s.worstBeside(points, at, k); worst < best-1e-12 && s.monotone(points) {
			best, keep = worst, points[k].PulseTenths
		}
	}
	points[k].PulseTenths = keep
	return keep != start
}

// worstBeside is the largest error of the lines through the stored integers on the stretches next to breakpoint k. That
// the controller rounds to tenths in between is left out: it adds the same everywhere.
func (s *sampled) worstBeside(points []bench.TablePoint, at []int, k int) float64 {
	worst := 0.0
	for _, j := range []int{k - 1, k} {
		if j < 0 || j+1 >= len(points) {
			continue
		}
		from, to := at[j], at[j+1]
		start := float64(points[j].PulseTenths) / 10
		slope := (float64(points[j+1].PulseTenths)/10 - start) / float64(to-from)
		step := 1 + (to-from)/spreadSamples
		for i := from; i < to; i += step {
			worst = math.Max(worst, math.Abs(start+slope*float64(i-from)-s.pulse[i]))
		}
		worst = math.Max(worst, math.Abs(float64(points[j+1].PulseTenths)/10-s.pulse[to]))
	}
	return worst
}

// monotone tells whether the pulses keep to the curve's direction.
func (s *sampled) monotone(points []bench.TablePoint) bool {
	rising := s.pulse[len(s.pulse)-1] > s.pulse[0]
	for k := 1; k < len(points); k++ {
		if a, b := points[k-1].PulseTenths, points[k].PulseTenths; rising && b < a || !rising && b > a {
			return false
		}
	}
	return true
}
