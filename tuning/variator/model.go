package variator

import (
	"fmt"
	"slices"

	"trunnion/tuning/measure"
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
	Readings         int         `json:"readings"`
	DegreesOfFreedom int         `json:"degrees_of_freedom"`
	Scatter          float64     `json:"scatter_in_sigmas"`
	LackOfFit        *LackOfFit  `json:"lack_of_fit,omitempty"`
	Refuted          bool        `json:"refuted"` // the lack-of-fit test refutes the curve
	LeaveOneOut      LeaveOneOut `json:"leave_one_out"`
	Outliers         []Outlier   `json:"outliers"`
	// Candidates are the laws that were weighed, simplest first.
	Candidates []Candidate `json:"candidates"`
	Verdict    string      `json:"verdict"`
}

// Parameter is one fitted number. Name carries the unit, such as "centre_us".
type Parameter struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	StdErr float64 `json:"standard_error"`
}

// Outlier is a reading that the fit left out.
type Outlier struct {
	Index    int              `json:"index"` // in the readings given to Fit
	Pulse    units.Pulse      `json:"pulse_us"`
	Approach measure.Approach `json:"approach,omitempty"`
	Ratio    float64          `json:"ratio"`
	Expected float64          `json:"expected_ratio"`
	Sigmas   float64          `json:"sigmas"` // its residual in standard deviations of the kept readings' scatter
}

// Candidate is a law that was weighed.
type Candidate struct {
	Law       LawName    `json:"law"`
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

// names are the parameters' names.
func (m *Model) names() []string {
	names := make([]string, len(m.Parameters))
	for j, p := range m.Parameters {
		names[j] = p.Name
	}
	return names
}

// theta are the parameters' values.
func (m *Model) theta() []float64 {
	theta := make([]float64, len(m.Parameters))
	for j, p := range m.Parameters {
		theta[j] = p.Value
	}
	return theta
}

// model makes a Model of a chosen law.
func (c *candidate) model(candidates []*candidate, opt FitOptions) Model {
	m := Model{
		Law:              c.law.name(),
		Covariance:       c.result.Covariance,
		PulseLeast:       units.Pulse(slices.Min(c.data.pulse)),
		PulseMost:        units.Pulse(slices.Max(c.data.pulse)),
		Readings:         len(c.kept),
		DegreesOfFreedom: c.result.DOF,
		Scatter:          c.result.Scale,
		LackOfFit:        c.lackOfFit(),
		LeaveOneOut:      c.leaveOneOut(),
		Outliers:         c.outliers(),
	}
	for j, name := range c.law.names() {
		m.Parameters = append(m.Parameters, Parameter{Name: name, Value: c.result.Params[j], StdErr: c.result.StdErr[j]})
	}
	for _, other := range candidates {
		m.Candidates = append(m.Candidates, Candidate{
			Law: other.law.name(), AICc: other.aicc(), Scatter: other.result.Scale, LackOfFit: other.lackOfFit(),
		})
	}
	m.Refuted = refutes(m.LackOfFit, opt.RejectBelow)
	m.describe()
	return m
}

// outliers are the readings that were not kept.
func (c *candidate) outliers() []Outlier {
	list := []Outlier{}
	by := make([]float64, c.law.count())
	for i := range c.data.pulse {
		if slices.Contains(c.kept, i) {
			continue
		}
		u, _ := c.law.ratio(c.result.Params, c.data.pulse[i], c.data.way[i], by)
		list = append(list, c.data.outlier(i, u, c.result.Scale))
	}
	return list
}

// outlier notes reading i, which was expected to be u.
func (d *readingData) outlier(i int, u, scatter float64) Outlier {
	o := Outlier{Index: i, Pulse: units.Pulse(d.pulse[i]), Ratio: d.ratio[i], Expected: u}
	if scatter > 0 {
		o.Sigmas = (d.ratio[i] - u) / (d.sigma[i] * scatter)
	}
	switch d.way[i] {
	case 1:
		o.Approach = measure.Outward
	case -1:
		o.Approach = measure.Inward
	}
	return o
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
	if l, ok := lawNamed(s, m.names()); !ok {
		return &ModelError{"parameters", fmt.Sprintf("%q where %q belong", m.names(), l.names())}
	}
	return nil
}
