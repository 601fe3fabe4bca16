package variator

import (
	"fmt"
	"slices"
	"strings"
)

// describe writes the verdict: which law, why, how good, and what the residuals suggest.
func (m *Model) describe() {
	var b strings.Builder
	fmt.Fprintf(&b, "%s. ", m.fitWords())
	b.WriteString(m.whyWords())
	lower, upper, _ := m.Edges()
	fmt.Fprintf(&b, "It leaves zero at %v us and %v us. ", lower, upper)
	fmt.Fprintf(&b, "A reading not used in the fit would be foretold to %.2g in ratio, its pulse to %.2g us (typical). ",
		m.LeaveOneOut.Typical, m.LeaveOneOut.TypicalUs)
	b.WriteString(m.scatterWords())
	b.WriteString(m.hysteresisWords())
	b.WriteString(m.separationWords())
	b.WriteString(m.wheelWords())
	for _, s := range m.Suggests {
		fmt.Fprintf(&b, "The residuals say: %s. ", s)
	}
	b.WriteString(m.outlierWords())
	m.Verdict = strings.TrimSpace(b.String())
}

func (m *Model) fitWords() string {
	if m.Law == FreeForm {
		words := fmt.Sprintf("ree-form curve of %.0f effective parameters through the readings", m.EffectiveParameters)
		if len(m.Candidates) == 0 {
			return "F" + words
		}
		return "No law fits; f" + words
	}
	words := capital(lawWords(m.Law, namesOf(m.Parameters)))
	switch {
	case m.LackOfFit == nil:
		return words + "; too few readings to test the law"
	case m.Refuted:
		return fmt.Sprintf("%s, though the readings depart from it by more than their scatter (p %.2g)", words, m.LackOfFit.PValue)
	}
	return fmt.Sprintf("%s; no departure from it is seen (p %.2g)", words, m.LackOfFit.PValue)
}

// lawWords names a law with what was added to it.
func lawWords(name LawName, parameters []string) string {
	s, _ := shapeOf(name)
	words := s.words()
	if slices.Contains(parameters, parCurvature) {
		words += ", curved linkage"
	}
	if slices.Contains(parameters, parFriction) {
		words += ", friction offset"
	}
	return words
}

func capital(words string) string { return strings.ToUpper(words[:1]) + words[1:] }

// whyWords say why this law and no other.
func (m *Model) whyWords() string {
	if m.Law == FreeForm || len(m.Candidates) < 2 {
		return ""
	}
	parameters := namesOf(m.Parameters)
	own := slices.IndexFunc(m.Candidates, func(c Candidate) bool { return c.Law == m.Law && sameTerms(c.Terms, parameters) })
	if m.Rival != nil {
		rival := slices.IndexFunc(m.Candidates, func(c Candidate) bool {
			return c.Law == m.Rival.Law && sameTerms(c.Terms, namesOf(m.Rival.Parameters))
		})
		return fmt.Sprintf("%s describes them better, but not clearly (AICc less by %.1f); the band takes in how far it lies off. ",
			capital(lawWords(m.Rival.Law, namesOf(m.Rival.Parameters))), m.Candidates[own].AICc-m.Candidates[rival].AICc)
	}
	for i, c := range m.Candidates {
		if i != own && c.Law != m.Law && c.AICc-m.Candidates[own].AICc < 2 && !refutes(c.LackOfFit, usualRejection) {
			return fmt.Sprintf("The readings hardly tell it from %s. ", lawWords(c.Law, c.Terms))
		}
	}
	if own == 0 {
		return "No law with more parameters does better. "
	}
	gain := m.Candidates[own-1].AICc - m.Candidates[own].AICc
	for _, c := range m.Candidates[:own] {
		gain = min(gain, c.AICc-m.Candidates[own].AICc)
	}
	return fmt.Sprintf("The simpler laws do worse by %.0f in AICc or more. ", gain)
}

func sameTerms(terms, parameters []string) bool {
	for _, name := range []string{parCurvature, parFriction} {
		if slices.Contains(terms, name) != slices.Contains(parameters, name) {
			return false
		}
	}
	return true
}

// scatterWords speaks up where the readings' own errors were far off.
func (m *Model) scatterWords() string {
	switch {
	case m.Law != FreeForm && m.Scatter > 1.5:
		return fmt.Sprintf("The readings scatter %.1f times as much as their own errors say. ", m.Scatter)
	case m.Law != FreeForm && m.Scatter > 0 && m.Scatter < 0.6:
		return fmt.Sprintf("The readings scatter only %.1f times as much as their own errors say. ", m.Scatter)
	}
	return ""
}

func (m *Model) hysteresisWords() string {
	h, fitted := m.Param(parHysteresis)
	if !fitted {
		return ""
	}
	if h.Sigmas(0) < 2 {
		return fmt.Sprintf("No hysteresis of the tilt is seen (%v us). ", h)
	}
	return fmt.Sprintf("Outward and inward differ by %v us. ", h)
}

func (m *Model) separationWords() string {
	var b strings.Builder
	for _, group := range m.Inseparable {
		if len(group) == 1 {
			fmt.Fprintf(&b, "The readings leave open: %s. ", group[0])
			continue
		}
		fmt.Fprintf(&b, "The readings do not tell apart: %s; the curve does not suffer from it. ", strings.Join(group, ", "))
	}
	return b.String()
}

// wheelWords speaks up where wheels and readings disagree.
func (m *Model) wheelWords() string {
	if m.WheelsOff == nil || *m.WheelsOff > -3 && *m.WheelsOff < 3 {
		return ""
	}
	more := "more"
	if *m.WheelsOff < 0 {
		more = "less"
	}
	return fmt.Sprintf("The gain is %s than the wheels say by %.0f standard errors: measure the wheels, or look for slip. ", more, max(*m.WheelsOff, -*m.WheelsOff))
}

func (m *Model) outlierWords() string {
	if len(m.Outliers) == 0 {
		return ""
	}
	at := make([]string, len(m.Outliers))
	for i, o := range m.Outliers {
		at[i] = fmt.Sprintf("%v (%s)", o.Pulse, o.Cause.words())
	}
	return fmt.Sprintf("Left out %d of %d readings: %s.", len(m.Outliers), m.Readings+len(m.Outliers), strings.Join(at, ", "))
}
