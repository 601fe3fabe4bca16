package pid

import "math"

const (
	gridRatio  = 1.06    // from one frequency to the next where L turns slowly: 40 points a decade
	gridTurn   = 0.3     // rad, most that dead time or L may turn between neighbours
	gridStart  = 50      // the scan starts so far below the lowest corner
	gridFar    = 100     // and ends at most so far above the highest
	leastRatio = 1e-12   // neighbours are not halved below this
	peakNear   = 0.7     // a peak on the grid is refined from this share of the best: 1+L turns less than 45 degrees between neighbours
	mostPoints = 200_000 // stop against loops of absurd dead time
)

// peak is the greatest value of a function of frequency so far.
type peak struct{ value, frequency float64 }

// scan walks L(jw) upward over the frequencies. It finds phase crossings, peaks of S and T, and the turning of
// den + num e^{-jwL} about nought, from which the number of unstable poles of the closed loop follows.
type scan struct {
	r             *response
	gainCrossings []float64
	lastPeak      float64
	lowest        float64
	highest       float64

	crossings                  []PhaseCrossing
	sensitivity, complementary peak
	turned                     float64 // rad, turning of den + num from frequency 0 to the end of the scan
	end                        float64 // where the scan ended
	touches                    bool    // den + num came to nought on the way: a pole on the axis
}

func newScan(r *response) *scan {
	s := &scan{r: r, gainCrossings: r.crossings(), lastPeak: r.lastPeak()}
	s.lowest, s.highest = r.corners(s.gainCrossings)
	return s
}

// point is L at one frequency, kept as numerator and denominator.
type point struct {
	w        float64
	num, den complex128
}

func (s *scan) point(w float64) point {
	num, den := s.r.turned(w)
	return point{w, num, den}
}

// sum is den + num, the characteristic function.
func (p point) sum() complex128 { return p.den + p.num }

// sense is proportional to the imaginary part of L, real to its real part.
func (p point) product() complex128 { return p.num * complex(real(p.den), -imag(p.den)) }

func squareOf(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }

// run walks the grid. Its steps: next frequency, narrowed until L and den + num turn little; add to the turning; note a
// crossing; keep peaks; stop when nothing further up can count.
func (s *scan) run() {
	s.startAtNought()
	before := s.point(s.lowest / gridStart)
	s.addTurn(complex(s.r.den[0]+s.r.num[0], 0), before.sum())
	s.keepPeak(before.w, before.w, before.w)
	here := before
	for range mostPoints {
		next := s.next(here)
		s.addTurn(here.sum(), next.sum())
		if s.r.delay > 0 {
			s.noteCrossing(here, next)
		}
		s.keepPeakBetween(before, here, next)
		before, here = here, next
		if s.done(here) {
			break
		}
	}
	s.end = here.w
	if s.r.delay == 0 {
		s.takeExactCrossings()
	}
	s.refineFlatEnds()
}

// startAtNought counts a real negative L(0) as a crossing.
func (s *scan) startAtNought() {
	if s.r.integrates() {
		return
	}
	if start := s.r.start(); start < 0 {
		s.crossings = append(s.crossings, PhaseCrossing{0, -1 / start})
	}
}

// next is the following point of the grid.
func (s *scan) next(here point) point {
	step := here.w * (gridRatio - 1)
	if s.r.delay > 0 {
		step = min(step, gridTurn/s.r.delay)
	}
	for {
		next := s.point(here.w + step)
		if step <= leastRatio*here.w || s.close(here, next) {
			return next
		}
		step /= 2
	}
}

// close tells whether L and den + num turn little enough from a to b.
func (s *scan) close(a, b point) bool {
	turn := b.product() * conj(a.product())
	sum := b.sum() * conj(a.sum())
	return math.Abs(imag(turn)) <= 0.5*real(turn) && math.Abs(imag(sum)) <= real(sum)
}

func conj(c complex128) complex128 { return complex(real(c), -imag(c)) }

// addTurn adds the angle from a to b, which is less than half a turn.
func (s *scan) addTurn(a, b complex128) {
	if a == 0 || b == 0 {
		s.touches = true
		return
	}
	s.turned += phase(b * conj(a))
}

// noteCrossing refines a change of sign of Im L with Re L < 0.
func (s *scan) noteCrossing(a, b point) {
	ia, ib := imag(a.product()), imag(b.product())
	if (ia < 0) == (ib < 0) || real(a.product()) > 0 && real(b.product()) > 0 {
		return
	}
	w, found := bracketedRoot(func(w float64) float64 { return imag(s.point(w).product()) }, a.w, b.w)
	if l := s.r.at(w); found && real(l) < 0 {
		s.crossings = append(s.crossings, PhaseCrossing{w, -1 / real(l)})
	}
}

// takeExactCrossings finds the phase crossings of a loop without dead time as roots of a polynomial.
func (s *scan) takeExactCrossings() {
	for _, w := range s.r.realAxisCrossings() {
		if l := s.r.at(w); real(l) < 0 {
			s.crossings = append(s.crossings, PhaseCrossing{w, -1 / real(l)})
		}
	}
}

// keepPeakBetween refines a peak of S or T that the middle one of three neighbours shows.
func (s *scan) keepPeakBetween(a, b, c point) {
	sa, sb, sc := nearness(a), nearness(b), nearness(c)
	if sb <= sa && sb <= sc && math.Sqrt(sb)*peakNear <= 1/s.sensitivity.value {
		s.keepSensitivity(greatest(func(w float64) float64 { return -nearness(s.point(w)) }, a.w, c.w))
	}
	ta, tb, tc := reach(a), reach(b), reach(c)
	if tb >= ta && tb >= tc && math.Sqrt(tb) >= peakNear*s.complementary.value {
		s.keepComplementary(greatest(func(w float64) float64 { return reach(s.point(w)) }, a.w, c.w))
	}
}

// nearness is |1+L|^2, reach is |T|^2.
func nearness(p point) float64 { return squareOf(p.sum()) / squareOf(p.den) }
func reach(p point) float64    { return squareOf(p.num) / squareOf(p.sum()) }

func (s *scan) keepSensitivity(w float64) {
	if v := 1 / math.Sqrt(nearness(s.point(w))); !(v <= s.sensitivity.value) {
		s.sensitivity = peak{v, w}
	}
}

func (s *scan) keepComplementary(w float64) {
	if v := math.Sqrt(reach(s.point(w))); !(v <= s.complementary.value) {
		s.complementary = peak{v, w}
	}
}

func (s *scan) keepPeak(frequencies ...float64) {
	for _, w := range frequencies {
		s.keepSensitivity(w)
		s.keepComplementary(w)
	}
}

// refineFlatEnds takes the last point too: a peak may be only approached.
func (s *scan) refineFlatEnds() { s.keepPeak(s.end) }

// done tells that nothing above here can count: |L| only falls from here on and is too small for a worse peak or
// crossing.
func (s *scan) done(here point) bool {
	w := here.w
	if w < 3*s.highest || w <= s.lastPeak {
		return w > gridFar*s.highest
	}
	if n := len(s.gainCrossings); n > 0 && w <= s.gainCrossings[n-1] {
		return false
	}
	if s.r.delay == 0 || s.r.final != 0 {
		return w > gridFar*s.highest
	}
	size := math.Sqrt(squareOf(here.num) / squareOf(here.den))
	if size >= 1 {
		return false
	}
	beyond := false
	for _, c := range s.crossings {
		beyond = beyond || c.Frequency > s.lastPeak
	}
	return beyond && 1/(1-size) < s.sensitivity.value && size/(1-size) < max(s.complementary.value, 1e-9)
}

// stable tells whether the closed loop has no pole on or right of the imaginary axis. For den + num e^{-sL} of degree n
// with len(num) < len(den) that is so exactly if it turns by n quarter turns from frequency 0 to infinity (Mikhailov).
// Beyond the end of the scan |L| < 1, so den + num turns there as den does, but for the angle of 1 + L.
func (s *scan) stable() bool {
	r := s.r
	size := math.Abs(r.final)
	if s.touches || r.den[0]+r.num[0] == 0 || r.delay > 0 && size >= 1 || r.delay == 0 && r.final == -1 {
		return false
	}
	turned := s.turned
	if r.delay == 0 && size >= 1 {
		turned += s.turnToEnd(s.point(s.end).sum, add(r.den, r.num, 1))
	} else {
		last := s.point(s.end)
		turned -= phase(1 + last.num/last.den)
		turned += s.turnToEnd(func() complex128 { return last.den }, r.den)
	}
	degree := float64(len(r.den) - 1)
	return math.Abs(turned-degree*math.Pi/2) < math.Pi/2
}

// turnToEnd is how far the polynomial p turns from the end of the scan to infinity.
func (s *scan) turnToEnd(first func() complex128, p []float64) float64 {
	turned := 0.0
	here := first()
	w := s.end
	limit := max(s.end, gridFar*s.highest) * 1e4
	for w < limit {
		w *= 1.25
		next := evaluate(p, complex(0, w))
		turned += phase(next * conj(here))
		here = next
	}
	last := complex(p[len(p)-1], 0)
	for range (len(p) - 1) % 4 {
		last *= complex(0, 1)
	}
	return turned + phase(last*conj(here))
}
