package pid

import (
	"math"
	"math/cmplx"
)

// Bounds are what a design of one's own must keep to.
type Bounds struct {
	Ms float64 `json:"ms"` // greatest sensitivity peak, above 1; usual are 1.2 (calm) to 2.0 (lively)
	Mt float64 `json:"mt"` // greatest complementary peak, above 1; 0 sets no bound
	// FilterShare and LeastFilterS set the derivative's filter as in RuleOptions. The filter is not searched for: without
	// a figure for the noise the least load error would always want it gone.
	FilterShare  float64 `json:"filter_share"`
	LeastFilterS float64 `json:"least_filter_s"`
	// MostOvershootPercent of a set-point step bounds the set-point weight; 0 sets no bound.
	MostOvershootPercent float64 `json:"most_overshoot_percent"`
}

func (b Bounds) validate() error {
	if !(b.Ms > 1) || math.IsInf(b.Ms, 1) {
		return &ParameterError{"greatest Ms", b.Ms, "it must be above 1 and finite"}
	}
	if b.Mt != 0 && (!(b.Mt > 1) || math.IsInf(b.Mt, 1)) {
		return &ParameterError{"greatest Mt", b.Mt, "it must be above 1 and finite, or 0 for no bound"}
	}
	return requireNotNegative(number{"filter share", b.FilterShare}, number{"least filter time", b.LeastFilterS},
		number{"greatest overshoot", b.MostOvershootPercent})
}

// shape is a controller of proportional gain 1: 1 + 1/(Ti s) + Td s/(Tf s + 1).
type shape struct{ ti, td, tf float64 }

func (c shape) at(w float64) complex128 {
	out := complex(1, -1/(w*c.ti))
	if c.td > 0 {
		out += complex(0, w*c.td) / complex(1, w*c.tf)
	}
	return out
}

func (c shape) tuning(k float64) Tuning {
	return Tuning{Gains: ParallelPID{Kp: k, Ki: k / c.ti, Kd: k * c.td}, FilterTimeS: c.tf, SetPointShare: 1}
}

// boundary finds the greatest gain that keeps a loop of a given shape outside the circles that Ms and Mt draw about -1.
// At each frequency the gains that lie inside a circle are an interval between the roots of a quadratic, so no search
// over gains is needed (Astrom, Panagopoulos and Hagglund, Automatica 34 (1998) 585; from memory). The process must have
// no pole right of the imaginary axis.
type boundary struct {
	r       *response
	mt      float64 // Mt^2/(Mt^2 - 1), 0 without a bound
	ms      float64 // 1 - 1/Ms^2
	nearest float64 // least |L| on either circle: 1 - 1/Ms or Mt/(1 + Mt)
	falls   float64 // frequency beyond which the process only falls
	w       []float64
	p       []complex128
	size    []float64 // |p|
}

const (
	boundaryRatio = 1.035 // of neighbouring frequencies
	boundaryTurn  = 0.2   // rad of dead time between neighbours
	boundaryLow   = 2e-3  // of the frequency at which the process turns by half a turn
	boundaryHigh  = 40.0  // the grid goes on so far above it, and to where the process is so much smaller
	boundaryMost  = 5000  // points
	boundaryNear  = 1.04  // a bound on the grid so near the least may be the least between its points
)

// newBoundary lays a grid about the frequency at which the process itself would hunt.
func newBoundary(p Transfer, b Bounds, turns float64) *boundary {
	r := newResponse(p)
	out := &boundary{r: r, ms: 1 - 1/(b.Ms*b.Ms), nearest: 1 - 1/b.Ms, falls: r.lastPeak()}
	if b.Mt > 0 {
		out.mt = b.Mt * b.Mt / (b.Mt*b.Mt - 1)
		out.nearest = min(out.nearest, b.Mt/(1+b.Mt))
	}
	for w, least := boundaryLow*turns, cmplx.Abs(r.at(turns))/boundaryHigh; len(out.w) < boundaryMost; {
		g := r.at(w)
		out.w, out.p, out.size = append(out.w, w), append(out.p, g), append(out.size, cmplx.Abs(g))
		if w > boundaryHigh*turns && w > 2*out.falls && cmplx.Abs(g) < least {
			break
		}
		step := w * (boundaryRatio - 1)
		if r.delay > 0 {
			step = min(step, boundaryTurn/r.delay)
		}
		w += step
	}
	return out
}

// forbidden is the interval of gains for which gain x g lies in a circle; the two circles' intervals are joined, since
// both hold -1.
func (b *boundary) forbidden(g complex128) (lo, hi float64, any bool) {
	re, size := real(g), squareOf(g)
	if re >= 0 {
		return 0, 0, false
	}
	lo = math.Inf(1)
	if d := re*re - size*b.ms; d > 0 {
		root := math.Sqrt(d)
		lo, hi, any = b.ms/(root-re), (root-re)/size, true
	}
	if b.mt > 0 {
		if d := b.mt*re*re - size; d > 0 {
			root := math.Sqrt(b.mt * d)
			sum := root - b.mt*re
			lo, hi, any = min(lo, b.mt/sum), max(hi, sum/size), true
		}
	}
	return lo, hi, any
}

// band is a run of frequencies at which some gains are forbidden.
type band struct {
	lo, hi   float64 // least and greatest of those gains
	at, top  int     // and where they are
	from, to bool    // on entry and exit L lies beyond -180 degrees
	open     bool
	first    bool // it holds the lowest frequency of all
}

// gain is the greatest admissible gain for a shape, and whether there is one. A band through which the phase falls beyond
// -180 degrees bounds the gain from above, one through which it rises from below (an integrating process with integral
// action starts so); one that only touches forbids its own gains.
func (b *boundary) gain(c shape) (float64, bool) {
	upper, lower, top := math.Inf(1), 0.0, -1
	least := func(lo, _ float64) float64 { return lo }
	var touching [4]band
	touches := 0
	var now band
	shut := func() {
		if !now.open {
			return
		}
		switch {
		case now.first && now.to: // L never rises clear of -180 degrees
			lower = math.Inf(1)
		case !now.from && now.to:
			if now.lo < upper*boundaryNear {
				upper = min(upper, b.refine(c, now.at, least, now.lo))
			}
		case now.from && !now.to:
			if now.hi > lower {
				lower, top = now.hi, now.top
			}
		case touches < len(touching):
			now.lo = b.refine(c, now.at, least, now.lo)
			touching[touches] = now
			touches++
		}
		now = band{}
	}
	most := 1 + quotient(c.td, c.tf)
	if c.td == 0 {
		most = 1
	}
	for i, w := range b.w {
		rise := most + 1/(w*c.ti) // no more than this has the controller from here on
		if w > b.falls && b.nearest > upper*rise*b.size[i] && !now.open {
			break
		}
		g := b.p[i] * c.at(w)
		lo, hi, any := b.forbidden(g)
		if !any {
			shut()
			continue
		}
		beyond := imag(g) > 0
		if !now.open {
			now = band{lo: math.Inf(1), from: beyond || i == 0, first: i == 0, open: true}
		}
		if lo < now.lo {
			now.lo, now.at = lo, i
		}
		if hi > now.hi {
			now.hi, now.top = hi, i
		}
		now.to = beyond
	}
	now.to = true
	shut()
	if n := len(b.w) - 1; b.r.delay > 0 { // beyond the grid the dead time turns so fast that L meets every phase
		if end := b.nearest / ((most + 1/(b.w[n]*c.ti)) * b.size[n]); end < upper {
			upper = end
		}
	}
	for moved := true; moved; {
		moved = false
		for _, t := range touching[:touches] {
			if upper > t.lo && upper <= t.hi {
				upper, moved = t.lo, true
			}
		}
	}
	if math.IsInf(upper, 1) || upper <= lower {
		return 0, false
	}
	if lower > 0 {
		lower = -b.refine(c, top, func(_, hi float64) float64 { return -hi }, -lower)
	}
	return upper, upper > lower
}

// refine finds the least of one end of the forbidden intervals between the neighbours of a point of the grid, by golden
// section.
func (b *boundary) refine(c shape, i int, end func(lo, hi float64) float64, least float64) float64 {
	if i == 0 || i == len(b.w)-1 {
		return least
	}
	bound := func(w float64) float64 {
		if lo, hi, any := b.forbidden(b.r.at(w) * c.at(w)); any {
			return end(lo, hi)
		}
		return math.Inf(1)
	}
	const share = 0.6180339887498949
	left, right := b.w[i-1], b.w[i+1]
	x, y := right-share*(right-left), left+share*(right-left)
	fx, fy := bound(x), bound(y)
	for right-left > 1e-4*right {
		least = min(least, fx, fy)
		if fx < fy {
			right, y, fy = y, x, fx
			x = right - share*(right-left)
			fx = bound(x)
		} else {
			left, x, fx = x, y, fy
			y = left + share*(right-left)
			fy = bound(y)
		}
	}
	return min(least, fx, fy)
}
