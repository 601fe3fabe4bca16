package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/finding"
	"trunnion/tuning/session"
)

// lines prints events, one line each, with the time on the controller's clock,
// which is also that of a bench when the virtual rig runs flat out. Calls and
// progress are for record and screen, not for reading.
type lines struct{ out io.Writer }

func (l *lines) event(e session.Event) {
	if e.Kind == session.Called || e.Kind == session.Kind(bench.Progress) || (e.Kind == session.Ended && e.Text == "") {
		return
	}
	place := strings.TrimSuffix(e.Axis+", "+string(e.Task), ", ")
	fmt.Fprintf(l.out, "%7.1f s  %-22s %-9s %s\n", e.At.Seconds(), place, e.Kind, e.Text)
}

// summary prints what a run found, axis by axis.
func summary(out io.Writer, d calibration.Document) {
	fmt.Fprintf(out, "\nrig %s\n", d.Rig)
	for _, a := range d.Axes {
		fmt.Fprintf(out, "\n%s\n", a.Name)
		row := func(label, format string, values ...any) {
			fmt.Fprintf(out, "  %-14s %s\n", label, fmt.Sprintf(format, values...))
		}
		if c := a.Check; c != nil {
			row("drive shaft", "%v rpm", c.ShaftSpeed)
		}
		if b := a.DeadBand; b != nil {
			for _, e := range b.Edges {
				row("edge", "%-5s %-7s %v us", e.Side, e.Approach, e.Pulse)
			}
			row("neutral", "%v, %.0f standard deviations from the nearest edge", b.Neutral, b.Safety)
		}
		if f := a.Fit; f != nil {
			row("curve", "law %s, fit error %.2f %% of full scale, ratio %+.2f to %+.2f", f.Model.Law, f.FitError, a.Curve.RatioLeast, a.Curve.RatioMost)
			row("table", "%d points, good to %.2f us", len(f.Table.Points), f.Table.WorstErrorUs)
		}
		if s := a.Step; s != nil {
			row("answer", "dead time %.1f ±%.1f ms, lag %.1f ±%.1f ms", 1000*s.DeadTimeS.Value, 1000*s.DeadTimeS.StdErr, 1000*s.LagS.Value, 1000*s.LagS.StdErr)
		}
		if g := a.Gains; g != nil {
			row("gains", "%s: Kp %.4g, Ki %.4g, Kd %.4g per count; hold zone %.0f counts", g.Kind, g.Law.Gains.Kp, g.Law.Gains.Ki, g.Law.Gains.Kd, g.HoldZone)
			row("margins", "Ms %.2f, gain %.1f, phase %.0f deg, delay %.0f ms", g.Margins.Ms, g.Margins.GainMargin, g.Margins.PhaseMarginDeg, 1000*g.Margins.DelayMarginS)
		}
		if p := a.Prove; p != nil {
			row("settled error", "%.3f %s mean, %.3f at worst; %.3f asked for", p.SettledError.Value, p.Unit, p.WorstError, p.Tolerance)
		}
		for _, f := range a.Findings() {
			printFinding(out, f)
		}
	}
}

// printFinding prints a finding with its causes and how to tell them apart.
func printFinding(out io.Writer, f finding.Finding) {
	fmt.Fprintf(out, "  finding        %s\n", f.Name)
	fmt.Fprintf(out, "     seen        %s\n", f.Evidence)
	fmt.Fprintf(out, "     one of      %s\n", strings.Join(f.OneOf, "; "))
	fmt.Fprintf(out, "     to tell     %s\n", f.ToTell)
	fmt.Fprintf(out, "     then        %s\n", f.Cure)
}

// countFindings counts them over all axes.
func countFindings(d calibration.Document) int {
	n := 0
	for _, a := range d.Axes {
		n += len(a.Findings())
	}
	return n
}

// paceWords says in words how fast virtual time passes.
func paceWords(factor float64) string {
	switch {
	case math.IsInf(factor, 1):
		return "flat out"
	case factor == 1:
		return "at real pace"
	}
	return fmt.Sprintf("at %g times real pace", factor)
}
