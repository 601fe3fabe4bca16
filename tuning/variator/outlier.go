package variator

import (
	"slices"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Outlier is a reading that the fit left out.
type Outlier struct {
	Index    int              `json:"index"` // in the readings given to Fit
	Pulse    units.Pulse      `json:"pulse_us"`
	Approach measure.Approach `json:"approach,omitempty"`
	Ratio    float64          `json:"ratio"`
	Expected float64          `json:"expected_ratio"`
	Sigmas   float64          `json:"sigmas"` // its residual in standard deviations of the kept readings' scatter
	Cause    Cause            `json:"cause,omitempty"`
}

// Cause is what an outlier looks like.
type Cause string

// Causes. A wheel that slips turns on, slower; one that has lost contact hardly turns. What is left is faster than the
// curve or turns the wrong way, which no friction does: a count lost or made up, a wrong pulse, a shaft that was helped.
const (
	Slip        Cause = "slip"
	ContactLoss Cause = "contact_loss"
	Unexplained Cause = "unexplained"
)

// hardlyTurns is the share of the expected ratio up to which a slow output counts as having lost contact.
const hardlyTurns = 0.25

func causeOf(o Outlier) Cause {
	share := o.Ratio / o.Expected // NaN or infinite where the output should stand
	switch {
	case share > -hardlyTurns && share < hardlyTurns:
		return ContactLoss
	case share >= hardlyTurns && share < 1:
		return Slip
	}
	return Unexplained
}

// words for a person.
func (c Cause) words() string {
	switch c {
	case Slip:
		return "slipped"
	case ContactLoss:
		return "lost contact"
	}
	return "unexplained"
}

// outliers are the readings that were not kept.
func (c *candidate) outliers() []Outlier {
	list := []Outlier{}
	for i := range c.data.pulse {
		if slices.Contains(c.kept, i) {
			continue
		}
		u, _ := c.law.ratio(c.result.Params, c.data.pulse[i], c.data.way[i], c.by)
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
	o.Cause = causeOf(o)
	switch d.way[i] {
	case 1:
		o.Approach = measure.Outward
	case -1:
		o.Approach = measure.Inward
	}
	return o
}
