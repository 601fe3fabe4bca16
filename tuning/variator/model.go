package variator

import (
	"cmp"
	"fmt"
	"slices"

	"trunnion/tuning/units"
)

// Model is a fitted curve from pulse to ratio, with what is known of its errors. It is plain data: its JSON holds all
// of it, and a Model decoded from there is the same curve to the last bit.
type Model struct {
	Law LawName `json:"law"`
	// Parameters of the law, named with their unit; Covariance in the same order and units.
	Parameters []Parameter `json:"parameters"`
	Covariance [][]float64 `json:"covariance"`
	// Knots of a free-form curve, by pulse; absent for a law.
	Knots []Knot `json:"knots,omitempty"`
	// InterpolationError is what a free-form curve may be off between its knots, one standard deviation.
	InterpolationError float64 `json:"interpolation_error_ratio,omitempty"`
	// PulseLeast and PulseMost bound the readings; beyond them the curve is a guess, and Inverse does not go there.
	PulseLeast units.Pulse `json:"pulse_least_us"`
	PulseMost  units.Pulse `json:"pulse_most_us"`
	// Readings is how many the fit rests on. Scatter is the standard deviation of a residual over the reading's claimed
	// error: 1 if the claims were right. Standard errors are scaled by it. DegreesOfFreedom is what it rests on; 0 where
	// the claimed errors had to be taken as right.
	Readings int `json:"readings"`
	// EffectiveParameters is how many numbers the curve was free to choose: the parameters of a law; of a free-form curve,
	// its places after pooling, the two edges and the shift.
	EffectiveParameters float64     `json:"effective_parameters,omitempty"`
	DegreesOfFreedom    int         `json:"degrees_of_freedom"`
	Scatter             float64     `json:"scatter_in_sigmas"`
	LackOfFit           *LackOfFit  `json:"lack_of_fit,omitempty"`
	Refuted             bool        `json:"refuted"` // the lack-of-fit test refutes the curve
	LeaveOneOut         LeaveOneOut `json:"leave_one_out"`
	Outliers            []Outlier   `json:"outliers"`
	// Inseparable are groups of parameters that the readings do not tell apart: each may change by more than a maker would
	// call a change if the others of its group change with it. The curve and its band do not suffer from it.
	Inseparable [][]string `json:"inseparable,omitempty"`
	// WheelsOff is how many standard errors the gain of the readings alone lies from what the wheels say; nil where no
	// wheel quotient was given or the law has none. Beyond 3 the wheels were not believed.
	WheelsOff *float64 `json:"wheels_off_sigmas,omitempty"`
	// Rival is a law that describes the readings better, though not so clearly that it should be taken. The bands take in
	// how far it lies off.
	Rival *Rival `json:"rival,omitempty"`
	// Candidates are the laws that were weighed, simplest first.
	Candidates []Candidate `json:"candidates"`
	// Suggests is what the residuals point to, in words; nothing where they look like chance.
	Suggests []string `json:"suggests,omitempty"`
	Verdict  string   `json:"verdict"`
}

// Parameter is one fitted number. Name carries the unit, such as "centre_us".
type Parameter struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	StdErr float64 `json:"standard_error"`
}

// Rival is another law with its parameters.
type Rival struct {
	Law        LawName     `json:"law"`
	Parameters []Parameter `json:"parameters"`
}

// Candidate is a law that was weighed.
type Candidate struct {
	Law       LawName    `json:"law"`
	Terms     []string   `json:"terms,omitempty"` // what was added to its shape: linkage curvature, friction offset
	AICc      float64    `json:"aicc"`
	Scatter   float64    `json:"scatter_in_sigmas"`
	LackOfFit *LackOfFit `json:"lack_of_fit,omitempty"`
}

// Param returns a parameter by its name, such as "onset_us".
func (m *Model) Param(name string) (units.Estimate, bool) {
	for _, p := range m.Parameters {
		if p.Name == name {
			return units.Estimate{Value: p.Value, StdErr: p.StdErr}, true
		}
	}
	return units.Estimate{}, false
}

func namesOf(parameters []Parameter) []string {
	names := make([]string, len(parameters))
	for j, p := range parameters {
		names[j] = p.Name
	}
	return names
}

func valuesOf(parameters []Parameter) []float64 {
	values := make([]float64, len(parameters))
	for j, p := range parameters {
		values[j] = p.Value
	}
	return values
}

// model makes a Model of a chosen law.
func (c *candidate) model(candidates []*candidate, opt FitOptions) Model {
	m := Model{
		Law:                 c.law.name(),
		Parameters:          c.parameters(),
		Covariance:          c.result.Covariance,
		PulseLeast:          units.Pulse(slices.Min(c.data.pulse)),
		PulseMost:           units.Pulse(slices.Max(c.data.pulse)),
		Readings:            len(c.kept),
		EffectiveParameters: float64(c.law.count()),
		DegreesOfFreedom:    c.result.DOF,
		Scatter:             c.result.Scale,
		LackOfFit:           c.lackOfFit(),
		LeaveOneOut:         c.leaveOneOut(),
		Outliers:            c.outliers(),
		Inseparable:         c.inseparable(),
		WheelsOff:           c.wheelsOff,
	}
	if r := c.rival(standingOf(candidates, opt.RejectBelow)); r != nil {
		m.Rival = &Rival{Law: r.law.name(), Parameters: r.parameters()}
	}
	for _, other := range candidates {
		m.Candidates = append(m.Candidates, Candidate{
			Law: other.law.name(), Terms: other.law.added(), AICc: other.aicc(), Scatter: other.result.Scale, LackOfFit: other.lackOfFit(),
		})
	}
	m.Refuted = refutes(m.LackOfFit, opt.RejectBelow)
	m.Suggests = c.suggests()
	m.describe()
	return m
}

// parameters are the fitted numbers with their names.
func (c *candidate) parameters() []Parameter {
	list := make([]Parameter, c.law.count())
	for j, name := range c.law.names() {
		list[j] = Parameter{Name: name, Value: c.result.Params[j], StdErr: c.result.StdErr[j]}
	}
	return list
}

// rival is the standing candidate that describes the readings best, if it is not this one.
func (c *candidate) rival(standing []*candidate) *candidate {
	best := slices.MinFunc(standing, func(a, b *candidate) int { return cmp.Compare(a.aicc(), b.aicc()) })
	if best.aicc() < c.aicc() {
		return best
	}
	return nil
}

// ModelError reports a Model, most likely read from a document, that is no curve.
type ModelError struct {
	Field, Reason string
}

func (e *ModelError) Error() string {
	return fmt.Sprintf("variator: model field %s: %s; fit the curve again", e.Field, e.Reason)
}

// Check reports what keeps a Model that came from a document from being used. A Model from Fit always passes.
func (m *Model) Check() error {
	n := len(m.Parameters)
	if !(m.PulseLeast < m.PulseMost) {
		return &ModelError{"pulse_least_us", fmt.Sprintf("%v to %v is no range", m.PulseLeast, m.PulseMost)}
	}
	if len(m.Covariance) != n {
		return &ModelError{"covariance", fmt.Sprintf("%d rows for %d parameters", len(m.Covariance), n)}
	}
	for _, row := range m.Covariance {
		if len(row) != n {
			return &ModelError{"covariance", fmt.Sprintf("a row of %d for %d parameters", len(row), n)}
		}
	}
	if m.Law == FreeForm {
		return m.checkKnots()
	}
	s, known := shapeOf(m.Law)
	if !known {
		return &ModelError{"law", fmt.Sprintf("%q is not known", m.Law)}
	}
	if l, ok := lawNamed(s, namesOf(m.Parameters)); !ok {
		return &ModelError{"parameters", fmt.Sprintf("%q where %q belong", namesOf(m.Parameters), l.names())}
	}
	if m.Rival == nil {
		return nil
	}
	r, known := shapeOf(m.Rival.Law)
	if !known {
		return &ModelError{"rival", fmt.Sprintf("law %q is not known", m.Rival.Law)}
	}
	if l, ok := lawNamed(r, namesOf(m.Rival.Parameters)); !ok {
		return &ModelError{"rival", fmt.Sprintf("%q where %q belong", namesOf(m.Rival.Parameters), l.names())}
	}
	return nil
}
