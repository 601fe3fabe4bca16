package deadband

import (
	"math"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Steps of the search, in us.
const (
	firstStep = 8.0
	// lastStep is about half of a common servo's dead zone (3 to 8 us by five
	// makers' data sheets): a finer one would measure noise.
	lastStep = 1.0
)

// search places the tries of one edge. Positions are outward: side sign times
// pulse, so that "farther" always means "more likely to turn".
type search struct {
	side     Side
	approach measure.Approach
	next     float64
	step     float64
	last     int // +1 after turned, -1 after still, 0 before the first
	x        []float64
	turned   []bool
}

func newSearch(side Side, approach measure.Approach, rough units.Pulse) *search {
	return &search{side: side, approach: approach, next: side.sign() * float64(rough), step: firstStep}
}

// pulse is where the next try goes.
func (s *search) pulse() units.Pulse { return units.Pulse(s.side.sign() * s.next).Rounded() }

// take takes a try made earlier, if it is of this edge.
func (s *search) take(t Try) {
	if t.Side == s.side && t.Approach == s.approach {
		s.next = s.side.sign() * float64(t.Pulse)
		s.record(t.Turned)
	}
}

// record takes the answer and places the next try: nearer after a turn, farther
// after a still, the step halved at each change of answer.
func (s *search) record(turned bool) {
	s.x = append(s.x, s.side.sign()*float64(s.pulse()))
	s.turned = append(s.turned, turned)
	now := -1
	if turned {
		now = 1
	}
	if s.last != 0 && now != s.last {
		s.step = math.Max(lastStep, s.step/2)
	}
	s.last = now
	s.next -= float64(now) * s.step
}

// stdErr is the error of the edge as it stands; +Inf before it is bracketed.
func (s *search) stdErr() float64 {
	th, err := edgeThreshold(s.x, s.turned)
	if err != nil || s.step > lastStep {
		return math.Inf(1)
	}
	return th.Middle.StdErr
}

// leastTries keeps a lucky run from ending a search early; mostTries ends one
// whose edge is too blurred for the wanted error.
const (
	leastTries = 8
	mostTries  = 24
)

// done reports whether the edge is known as well as wanted, or as well as it
// can be.
func (s *search) done(wanted float64) bool {
	n := len(s.x)
	return n >= mostTries || (n >= leastTries && s.stdErr() <= wanted)
}
