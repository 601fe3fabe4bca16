package process

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// OneModel says whether one linear model serves all steps.
type OneModel struct {
	Tested bool    `json:"tested"` // false for a single step, or where too few can be fitted alone
	Holds  bool    `json:"holds"`  // true also where it could not be tested
	F      float64 `json:"f"`
	DOF1   int     `json:"f_degrees_of_freedom_1"`
	DOF2   int     `json:"f_degrees_of_freedom_2"`
	P      float64 `json:"p"` // chance of so large an F if one model served
	// Differs is the number that differs most ("gain", "dead time", "lag"), and Between the groups of steps between which
	// it does ("outward and inward", ...); empty where nothing stands out.
	Differs string `json:"differs"`
	Between string `json:"between"`
	// Change is its mean in the first group less that in the second, in s (or 1 for the gain), with its standard error.
	Change float64 `json:"change"`
	StdErr float64 `json:"change_standard_error"`
	Words  string  `json:"words"`
}

const (
	// rejectBelow: with real readings no model is exact, and a thousand readings show small faults; a level of one in a
	// thousand keeps the test from crying at each.
	rejectBelow = 0.001
	// standsOut is how many standard errors two groups must differ by to be named, given that nine are looked at.
	standsOut = 3.0
)

// fitAlone fits each record by itself from the common solution; nil where that fails.
func fitAlone(records []*record, common solution) []*solution {
	alone := make([]*solution, len(records))
	if len(records) == 1 {
		alone[0] = &common
		return alone
	}
	for i, r := range records {
		if s, err := solve([]*record{r}, common.p, common.free); err == nil {
			alone[i] = &s
		}
	}
	return alone
}

// testOneModel is the F test of the common model against the fits of each step by itself.
func testOneModel(records []*record, common solution, alone []*solution) OneModel {
	out := OneModel{Holds: true, P: 1, Words: "one step alone: whether others are answered alike is not tested"}
	if len(records) < 2 {
		return out
	}
	squares, rows := 0.0, 0
	for _, s := range alone {
		if s == nil || s.dof() < 1 {
			out.Words = "some steps are too short to be fitted by themselves: whether all are answered alike is not tested"
			return out
		}
		squares += s.squares
		rows += s.dof()
	}
	out.Tested = true
	out.DOF1, out.DOF2 = len(common.free)*(len(records)-1), rows
	out.F = math.Max(0, common.squares-squares) / float64(out.DOF1) / (squares / float64(rows))
	// correlation left in the residuals makes F larger without any difference between the steps
	inflated := 0.0
	for _, a := range common.free {
		plain, wide := common.variances(alongOne(a))
		inflated += wide / plain / float64(len(common.free))
	}
	out.F /= inflated
	out.P = distuv.F{D1: float64(out.DOF1), D2: float64(out.DOF2)}.Survival(out.F)
	out.Holds = out.P >= rejectBelow
	if out.Holds {
		out.Words = "one linear model serves all steps"
		return out
	}
	out.explain(records, alone, squares/float64(rows))
	return out
}

// grouping splits steps in two.
type grouping struct {
	between string
	first   func(r *record) bool
}

// groupings of steps that a fault of the machine would tell apart.
func groupings(records []*record) []grouping {
	sizes := 0.0
	for _, r := range records {
		sizes += math.Abs(r.rise) / float64(len(records))
	}
	return []grouping{
		{"outward and inward", func(r *record) bool { return math.Abs(r.to) > math.Abs(r.from) }},
		{"forward and backward", func(r *record) bool { return r.to+r.from > 0 }},
		{"large and small", func(r *record) bool { return math.Abs(r.rise) > sizes }},
	}
}

// explain finds the number and the groups that differ most, in standard errors.
func (o *OneModel) explain(records []*record, alone []*solution, variance float64) {
	most := standsOut
	for _, g := range groupings(records) {
		for _, a := range alone[0].free {
			change, stdErr := contrast(records, alone, g, a, variance)
			if stdErr > 0 && math.Abs(change)/stdErr > most {
				most = math.Abs(change) / stdErr
				o.Differs, o.Between, o.Change, o.StdErr = parameterNames[a], g.between, change, stdErr
			}
		}
	}
	o.Words = o.meaning()
}

// contrast is the mean of a parameter in one group less that in the other. Its error holds the scatter within the groups,
// so that steps that differ anyhow do not make every grouping stand out.
func contrast(records []*record, alone []*solution, g grouping, a int, variance float64) (change, stdErr float64) {
	var first, second []float64
	plain := 0.0
	for i, r := range records {
		if g.first(r) {
			first = append(first, alone[i].p[a])
		} else {
			second = append(second, alone[i].p[a])
		}
		_, wide := alone[i].variances(alongOne(a))
		plain += variance * wide / float64(len(records))
	}
	if len(first) == 0 || len(second) == 0 {
		return 0, 0
	}
	m1, s1 := meanAndSquares(first)
	m2, s2 := meanAndSquares(second)
	scatter := plain
	if dof := len(records) - 2; dof > 0 {
		scatter = math.Max(plain, (s1+s2)/float64(dof))
	}
	return m1 - m2, math.Sqrt(scatter * (1/float64(len(first)) + 1/float64(len(second))))
}

// meanAndSquares is the mean of v and the sum of squares about it.
func meanAndSquares(v []float64) (mean, squares float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		squares += (x - mean) * (x - mean)
	}
	return mean, squares
}

// meanErrors are the standard errors of the mean over the steps' own fits.
func meanErrors(alone []*solution) (errors [parameters]float64) {
	for a := range parameters {
		errors[a] = meanError(alone, func(s *solution) float64 { return s.p[a] })
	}
	return errors
}

// meanResponseError is that of dead time and lag together.
func meanResponseError(alone []*solution) float64 {
	return meanError(alone, func(s *solution) float64 { return s.p[deadAt] + s.p[lagAt] })
}

func meanError(alone []*solution, of func(*solution) float64) float64 {
	values := make([]float64, len(alone))
	for i, s := range alone {
		values[i] = of(s)
	}
	n := float64(len(values))
	_, squares := meanAndSquares(values)
	return math.Sqrt(squares / (n - 1) / n)
}

// meaning is what a difference usually comes from.
func (o *OneModel) meaning() string {
	switch o.Differs + " " + o.Between {
	case "dead time outward and inward":
		return "the dead time differs between steps outward and inward: play in servo, linkage or tilt bearing that is taken up one way"
	case "dead time forward and backward":
		return "the dead time differs between forward and backward: the two sides are not pressed alike, or play lies on one side"
	case "dead time large and small":
		return "the dead time differs between large and small steps: a servo's dead zone makes small steps late; use larger ones"
	case "lag large and small":
		return "the lag differs between large and small steps: the servo's slew limit makes large steps slow; give its slew, or use smaller steps"
	case "lag outward and inward":
		return "the lag differs between steps outward and inward: the servo is loaded one way, or its supply sags"
	case "lag forward and backward":
		return "the lag differs between forward and backward: the servo or the ball is loaded more on one side"
	case "gain large and small":
		return "the gain differs between large and small steps: the ratio curve is not right over the whole range, or the contact slips"
	case "gain outward and inward":
		return "the gain differs between steps outward and inward: tilt hysteresis, so the curve is not the same both ways"
	case "gain forward and backward":
		return "the gain differs between forward and backward: the ratio curve is not right on one side, or that side slips"
	}
	return "the steps are not answered alike, in no pattern of direction or size: look for slip, a loose part, or a servo that sticks"
}
