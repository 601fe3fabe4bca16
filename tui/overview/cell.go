package overview

import (
	"fmt"
	"math"
	"strconv"

	"trunnion/tui/feed"
	"trunnion/tui/theme"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
	"trunnion/tuning/variator"
)

// cell is what the grid says of a task: its key number with its error, a dot for
// not yet, or a word. The versions go from full to short; the first that fits is
// shown.
func cell(a *feed.Axis, task int, dot rune) (versions []string, role theme.Role) {
	t := &a.Tasks[task]
	switch t.Status {
	case feed.Running:
		word := "running"
		if session.Tasks()[task] == session.DeadBand {
			word = "searching"
		}
		if t.Progress.Of > 0 {
			versions = append(versions, fmt.Sprintf("%s %d/%d", word, t.Progress.Done, t.Progress.Of))
		}
		return append(versions, word), theme.Measured
	case feed.Failed:
		return []string{"failed"}, theme.Trouble
	case feed.Stopped:
		return []string{"stopped"}, theme.Trouble
	}
	if !a.Has(task) {
		return []string{string(dot)}, theme.Faint
	}
	versions = numbers(a, session.Tasks()[task])
	if len(a.Findings(task)) == 0 {
		return versions, theme.Plain
	}
	for i := range versions {
		versions[i] += " look"
	}
	return append(versions, "look"), theme.Trouble
}

// numbers is the key number of a result, from full to short.
func numbers(a *feed.Axis, task session.Task) []string {
	switch r := &a.Result; task {
	case session.Check:
		return estimate(r.Check.ShaftSpeed, " rpm")
	case session.DeadBand:
		return estimate(r.DeadBand.Width, " us")
	case session.Curve:
		n, top := len(r.Curve.Readings), math.Min(-r.Curve.RatioLeast, r.Curve.RatioMost)
		return []string{
			fmt.Sprintf("%d, %+.2f to %+.2f", n, r.Curve.RatioLeast, r.Curve.RatioMost),
			fmt.Sprintf("%d to %.2f", n, top), fmt.Sprintf("%d to %.1f", n, top), strconv.Itoa(n),
		}
	case session.Fit:
		law := lawWord(r.Fit.Model.Law)
		return []string{fmt.Sprintf("%.2f %% %s", r.Fit.FitError, law), fmt.Sprintf("%.1f%% %s", r.Fit.FitError, law), fmt.Sprintf("%.2f %%", r.Fit.FitError)}
	case session.Step:
		return estimate(scaled(r.Step.DeadTimeS, 1000), " ms")
	case session.Gains:
		return []string{fmt.Sprintf("Ms %.2f", r.Gains.Margins.Ms), fmt.Sprintf("%.2f", r.Gains.Margins.Ms)}
	case session.Prove:
		return estimate(r.Prove.SettledError, " "+r.Prove.Unit)
	}
	return nil
}

// tellingShare of a number is as large as a rounded-up error may be before the
// number alone, with all its digits, says more.
const tellingShare = 20

// estimate is a number with its error and unit, then with less and less.
func estimate(e units.Estimate, unit string) []string {
	decimals := units.Decimals(e.StdErr)
	fewer := max(0, decimals-1)
	value, short := strconv.FormatFloat(e.Value, 'f', decimals, 64), strconv.FormatFloat(e.Value, 'f', fewer, 64)
	// An error written with fewer digits is rounded up, never down.
	rough := math.Ceil(e.StdErr*math.Pow10(fewer)-1e-9) / math.Pow10(fewer)
	versions := []string{e.String() + unit, e.String()}
	if rough <= math.Abs(e.Value)/tellingShare {
		versions = append(versions, short+" ±"+strconv.FormatFloat(rough, 'f', fewer, 64))
	}
	return append(versions, value+unit, short+unit, short)
}

func scaled(e units.Estimate, by float64) units.Estimate {
	return units.Estimate{Value: e.Value * by, StdErr: e.StdErr * by}
}

// lawWord is a law in one word.
func lawWord(law variator.LawName) string {
	switch law {
	case variator.Contact:
		return "tan"
	case variator.ContactAngle:
		return "sine"
	case variator.Disc:
		return "disc"
	case variator.DiscArm:
		return "arm"
	case variator.FreeForm:
		return "free"
	}
	return string(law)
}

// lawWords is a law as a person would say it.
func lawWords(law variator.LawName) string {
	switch law {
	case variator.Contact:
		return "contacts at a right angle (tangent of the tilt)"
	case variator.ContactAngle:
		return "contacts at another angle than a right one"
	case variator.Disc:
		return "wheel on a disc"
	case variator.DiscArm:
		return "wheel on a disc, swung by an arm"
	case variator.FreeForm:
		return "free-form curve"
	}
	return string(law)
}
