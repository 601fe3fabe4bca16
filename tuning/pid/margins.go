package pid

import "math"

// Margins says how far a loop is from hunting. All frequencies are rad/s.
type Margins struct {
	// Stable tells whether the closed loop is stable. Where it is not, the other numbers describe the frequency
	// response still, but there is no margin to speak of.
	Stable bool

	// GainMargin is the factor by which the loop's gain can rise before it hunts: the least 1/|L| over the phase
	// crossings at which |L| < 1, which need not be the first one. +Inf: no such crossing, so no rise of the gain alone
	// does it. PhaseCrossover is where; NaN without a crossing, +Inf where it is only approached.
	GainMargin     float64
	PhaseCrossover float64

	// GainReduction is the factor to which the gain can fall before the loop hunts: the greatest 1/|L| over the phase
	// crossings at which |L| > 1. It is 0 where there is none, as in most loops.
	GainReduction          float64
	GainReductionFrequency float64

	// PhaseMarginDeg is 180 degrees plus the phase of L at the gain crossing where that is nearest to nought, between
	// -180 and 180. +Inf: |L| never crosses 1. Negative: in a loop of the usual kind, it is unstable.
	PhaseMarginDeg float64
	GainCrossover  float64

	// DelayMarginS is the extra dead time at which the loop begins to hunt: the least of each crossing's own. +Inf
	// without a gain crossing; 0 in a loop that is unstable already.
	DelayMarginS float64

	// Ms is the sensitivity peak, the greatest |1/(1+L)|; its inverse is the least distance of L from -1. Mt is the
	// greatest |L/(1+L)|. The frequency is +Inf where a peak is only approached, and 0 where it lies there.
	Ms, MsFrequency float64
	Mt, MtFrequency float64

	// GainCrossings are all frequencies at which |L| = 1; PhaseCrossings those at which L is real and negative. With
	// dead time there is no end of the latter: they go on at least to the first beyond the last peak of |L|, after
	// which none can count.
	GainCrossings  []GainCrossing
	PhaseCrossings []PhaseCrossing
}

// GainCrossing is a frequency at which |L| = 1.
type GainCrossing struct {
	Frequency      float64
	PhaseMarginDeg float64
	DelayMarginS   float64 // dead time that turns L onto -1 there
}

// PhaseCrossing is a frequency at which L is real and negative.
type PhaseCrossing struct {
	Frequency  float64
	GainMargin float64 // 1/|L|
}

// LoopMargins returns the margins of a tuning on a process. Dead time of the controller itself (LoopDelay) is to be in
// the process.
func LoopMargins(t Tuning, p Process) (Margins, error) {
	if err := t.Validate(); err != nil {
		return Margins{}, err
	}
	if err := p.Validate(); err != nil {
		return Margins{}, err
	}
	return MarginsOf(t.Transfer().Times(p.Transfer()))
}

// MarginsOf returns the margins of the loop transfer L under unit negative feedback. Gain crossings are the roots of a
// polynomial, since dead time does not change |L|; phase crossings and peaks are bracketed on a grid that follows the
// turning of L, and refined. It fails if L is improper (a derivative without filter on a process that allows none).
func MarginsOf(loop Transfer) (Margins, error) {
	if err := loop.Validate(); err != nil {
		return Margins{}, err
	}
	r := newResponse(loop)
	s := newScan(r)
	s.run()
	m := Margins{PhaseCrossings: s.crossings, Stable: s.stable()}
	m.addGainCrossings(r, s.gainCrossings)
	m.addPhaseCrossings(r)
	m.addPeaks(r, s)
	if !m.Stable {
		m.DelayMarginS = 0
	}
	return m, nil
}

// addGainCrossings reports each crossing and takes the worst.
func (m *Margins) addGainCrossings(r *response, frequencies []float64) {
	m.PhaseMarginDeg, m.GainCrossover, m.DelayMarginS = math.Inf(1), math.NaN(), math.Inf(1)
	for _, w := range frequencies {
		lead := math.Pi + phase(r.at(w)) // 0 to 2 pi: how far L may still lag
		margin := lead
		if margin > math.Pi {
			margin -= 2 * math.Pi
		}
		c := GainCrossing{Frequency: w, PhaseMarginDeg: margin * 180 / math.Pi, DelayMarginS: lead / w}
		m.GainCrossings = append(m.GainCrossings, c)
		if !(math.Abs(c.PhaseMarginDeg) >= math.Abs(m.PhaseMarginDeg)) {
			m.PhaseMarginDeg, m.GainCrossover = c.PhaseMarginDeg, w
		}
		m.DelayMarginS = min(m.DelayMarginS, c.DelayMarginS)
	}
}

// addPhaseCrossings takes the worst crossing on either side of |L| = 1, and what L tends to at high frequency.
func (m *Margins) addPhaseCrossings(r *response) {
	m.GainMargin, m.PhaseCrossover = math.Inf(1), math.NaN()
	m.GainReduction, m.GainReductionFrequency = 0, math.NaN()
	for _, c := range m.PhaseCrossings {
		switch {
		case c.GainMargin >= 1 && c.GainMargin < m.GainMargin:
			m.GainMargin, m.PhaseCrossover = c.GainMargin, c.Frequency
		case c.GainMargin < 1 && c.GainMargin > m.GainReduction:
			m.GainReduction, m.GainReductionFrequency = c.GainMargin, c.Frequency
		}
	}
	final := r.final
	if r.delay > 0 {
		final = -math.Abs(final) // with dead time L goes round and round at that size
	}
	if final < 0 && final > -1 && -1/final < m.GainMargin {
		m.GainMargin, m.PhaseCrossover = -1/final, math.Inf(1)
	}
}

// addPeaks takes the peaks that the scan found and the limits at both ends of the frequencies.
func (m *Margins) addPeaks(r *response, s *scan) {
	m.Ms, m.MsFrequency = s.sensitivity.value, s.sensitivity.frequency
	m.Mt, m.MtFrequency = s.complementary.value, s.complementary.frequency
	take := func(ms, mt, w float64) {
		if ms > m.Ms {
			m.Ms, m.MsFrequency = ms, w
		}
		if mt > m.Mt {
			m.Mt, m.MtFrequency = mt, w
		}
	}
	final := r.final
	if r.delay > 0 {
		final = -math.Abs(final)
	}
	take(1/math.Abs(1+final), math.Abs(final/(1+final)), math.Inf(1))
	if r.integrates() {
		if m.Mt <= 1 { // T is exactly 1 at 0
			m.Mt, m.MtFrequency = 1, 0
		}
		return
	}
	start := r.start()
	take(1/math.Abs(1+start), math.Abs(start/(1+start)), 0)
}
