package overview

import (
	"fmt"
	"math"

	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/theme"
)

// table is rows under a heading; where there is no room for all, the last ones
// are shown.
type table struct {
	heading string
	rows    []string
	last    string // below the rows
}

func (t table) draw(c *canvas.Canvas) {
	c.TextCut(1, 0, c.W-2, t.heading, theme.Faint)
	room := c.H - 1
	if t.last != "" {
		room--
		c.TextCut(1, min(c.H-1, 1+min(len(t.rows), max(room, 0))), c.W-2, t.last, theme.Strong)
	}
	rows := t.rows[max(0, len(t.rows)-max(room, 0)):]
	for i, row := range rows {
		c.TextCut(1, 1+i, c.W-2, row, theme.Plain)
	}
}

// drawSteps lists the steps of the tilt.
func drawSteps(c *canvas.Canvas, a *feed.Axis, t *feed.Task) bool {
	steps := t.Steps
	r := a.Result.Step
	if r != nil && t.Status != feed.Running {
		steps = r.Taken
	}
	if len(steps) == 0 {
		return false
	}
	l := table{heading: "from ratio    to ratio      from pulse      to pulse"}
	for _, s := range steps {
		l.rows = append(l.rows, fmt.Sprintf("%+10.3f  %+10.3f  %14s %13s", s.FromRatio, s.ToRatio, s.FromPulse, s.ToPulse))
	}
	if r != nil && t.Status != feed.Running {
		l.last = fmt.Sprintf("dead time %v ms, lag %v ms, gain %v", scaled(r.DeadTimeS, 1000), scaled(r.LagS, 1000), r.Gain)
	}
	l.draw(c)
	return true
}

// drawGains lists the designs that were weighed.
func drawGains(c *canvas.Canvas, a *feed.Axis) bool {
	r := a.Result.Gains
	if r == nil {
		return false
	}
	l := table{heading: "                        Ms   gain margin  phase margin  delay margin  load error"}
	for _, d := range r.Considered {
		mark := " "
		if d.Chosen {
			mark = c.Glyphs.Pointer
		}
		m := d.Margins
		l.rows = append(l.rows, fmt.Sprintf("%s %-4s %-14.14s %5.2f %12.1f %9.0f deg %10.0f ms %11.4g",
			mark, d.Kind, d.Rule, m.Ms, m.GainMargin, m.PhaseMarginDeg, 1000*m.DelayMarginS, d.IAE))
	}
	g := r.Law.Gains
	l.rows = append(l.rows, fmt.Sprintf("  Kp %.4g, Ki %.4g, Kd %.4g ratio per count; control every %.0f ms", g.Kp, g.Ki, g.Kd, 1000*r.Law.PeriodS))
	l.last = fmt.Sprintf("  hold zone %.0f counts, finest place it can be sent to %.0f counts", r.HoldZone, math.Ceil(r.Reachable))
	l.draw(c)
	return true
}

// drawProofs lists the closed-loop steps, each beside its prediction.
func drawProofs(c *canvas.Canvas, a *feed.Axis, t *feed.Task) bool {
	steps := t.Proofs
	r := a.Result.Prove
	if r != nil && t.Status != feed.Running {
		steps = r.Steps
	}
	if len(steps) == 0 {
		return false
	}
	l := table{heading: "   from      to     rise s  pred.   over %  pred.   settled s  pred.     error"}
	for _, s := range steps {
		m, p := s.Measured, s.Predicted
		l.rows = append(l.rows, fmt.Sprintf("%+7.1f %+7.1f %9.2f %6.2f %8.0f %6.0f %11.2f %6.2f %+9.3f",
			s.From, s.To, m.Rise, p.Rise, m.Overshoot, p.Overshoot, m.Settling, p.Settling, m.Error))
	}
	if r != nil && t.Status != feed.Running {
		l.last = known(a, feed.Place{Task: len(a.Tasks) - 1}.Name())
	}
	l.draw(c)
	return true
}
