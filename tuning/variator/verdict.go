package variator

import (
	"fmt"
	"strings"
)

// describe writes the verdict.
func (m *Model) describe() {
	var b strings.Builder
	fmt.Fprintf(&b, "%s. ", m.fitWords())
	lower, upper, _ := m.Edges()
	fmt.Fprintf(&b, "It leaves zero at %v us and %v us. ", lower, upper)
	fmt.Fprintf(&b, "A reading not used in the fit would be foretold to %.2g (ratio, typical). ", m.LeaveOneOut.Typical)
	b.WriteString(m.scatterWords())
	b.WriteString(m.hysteresisWords())
	b.WriteString(m.outlierWords())
	m.Verdict = strings.TrimSpace(b.String())
}

func (m *Model) fitWords() string {
	if m.Law == FreeForm {
		if len(m.Candidates) == 0 {
			return "Free-form curve through the readings"
		}
		return "No law fits; free-form curve through the readings"
	}
	s, _ := shapeOf(m.Law)
	words := strings.ToUpper(s.words()[:1]) + s.words()[1:]
	switch {
	case m.LackOfFit == nil:
		return words + "; too few readings to test the law"
	case m.Refuted:
		return fmt.Sprintf("%s, though the readings depart from it by more than their scatter (p %.2g)", words, m.LackOfFit.PValue)
	}
	return fmt.Sprintf("%s; no departure from it is seen (p %.2g)", words, m.LackOfFit.PValue)
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

func (m *Model) outlierWords() string {
	if len(m.Outliers) == 0 {
		return ""
	}
	at := make([]string, len(m.Outliers))
	slower := 0
	for i, o := range m.Outliers {
		at[i] = o.Pulse.String()
		if o.Ratio*o.Expected >= 0 && o.Ratio*o.Ratio < o.Expected*o.Expected {
			slower++
		}
	}
	words := fmt.Sprintf("Left out: %s", strings.Join(at, ", "))
	if slower == len(m.Outliers) && slower > 1 {
		return words + " (all slower than the curve, as with slip)."
	}
	return words + "."
}
