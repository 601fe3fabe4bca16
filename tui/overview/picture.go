package overview

import (
	"math"
	"strings"

	"trunnion/tui/canvas"
	"trunnion/tui/chart"
	"trunnion/tui/feed"
	"trunnion/tui/theme"
	"trunnion/tuning/check"
	"trunnion/tuning/deadband"
	"trunnion/tuning/measure"
	"trunnion/tuning/session"
	"trunnion/tuning/variator"
)

// drawPicture draws what there is to see of a task: a chart, a table, or what the
// task is for where nothing was measured yet.
func (o *Overview) drawPicture(c *canvas.Canvas, place feed.Place) {
	a := &o.tick.Feed.Axes[place.Axis]
	t := &a.Tasks[place.Task]
	drawn := false
	switch place.Name() {
	case session.Check:
		drawn = drawCheck(c, a, t)
	case session.DeadBand:
		drawn = drawDeadBand(c, t.Tries, o.edgesOf(place))
	case session.Curve:
		drawn = drawCurve(c, a, t)
	case session.Fit:
		drawn = a.Result.Fit != nil && a.Result.Curve != nil
		if drawn {
			o.drawFit(c, a, place)
		}
	case session.Step:
		drawn = drawSteps(c, a, t)
	case session.Gains:
		drawn = drawGains(c, a)
	case session.Prove:
		drawn = drawProofs(c, a, t)
	}
	switch {
	case drawn:
	case t.Trouble != "":
		drawTrouble(c, t.Trouble)
	default:
		drawAbout(c, place.Name())
	}
}

// drawAbout says what a task is for.
func drawAbout(c *canvas.Canvas, task session.Task) {
	const indent = 10
	about := Tell(task)
	names, texts := []string{"Finds", "Moves", "Gives"}, []string{about.Finds, about.Moves, about.Gives}
	need, wrapped := make([]int, len(texts)), make([][]string, len(texts))
	for i, text := range texts {
		wrapped[i] = c.Wrap(text, min(c.W-indent-1, 90))
		need[i] = len(wrapped[i])
	}
	gap := 0
	if need[0]+need[1]+need[2]+3 < c.H {
		gap = 1
	}
	rows := allot(need, c.H-3*gap)
	y := gap
	for i := range names {
		c.Text(1, y, names[i], theme.Strong)
		block(c.Part(canvas.Rect{X: 0, Y: 0, W: min(c.W, indent+91), H: c.H}), indent, y, rows[i], wrapped[i], theme.Plain)
		y += min(rows[i], need[i]) + gap
	}
}

// drawTrouble says what ended a task that has nothing else to show.
func drawTrouble(c *canvas.Canvas, trouble string) {
	c.Text(1, 0, "Ended", theme.Strong)
	y := 0
	for sentence := range strings.SplitSeq(trouble, "; ") {
		lines := c.Wrap(sentence, min(c.W-11, 90))
		block(c, 10, y, min(len(lines), c.H-y), lines, theme.Plain)
		y += len(lines)
	}
}

// inset is the part of a canvas that charts are drawn in.
func inset(c *canvas.Canvas) *canvas.Canvas {
	return c.Part(canvas.Rect{X: 1, Y: 0, W: c.W - 3, H: c.H})
}

// drawCheck draws the quick readings of the check, or its bursts as long as there
// are no others.
func drawCheck(c *canvas.Canvas, a *feed.Axis, t *feed.Task) bool {
	jogs, bursts := t.Jogs, t.Bursts
	if r := a.Result.Check; r != nil && t.Status != feed.Running {
		jogs, bursts = r.Jog, r.Bursts
	}
	if len(jogs) > 1 {
		chart.DrawCurve(inset(c), chart.Curve{Readings: ofJogs(jogs), XUnit: "us", YUnit: "ratio"})
		return true
	}
	for i := range min(len(bursts), c.H) {
		c.TextCut(1, c.H-1-i, c.W-2, bursts[len(bursts)-1-i].String(), theme.Plain)
	}
	return len(bursts) > 0
}

func ofJogs(jogs []check.Jog) []chart.Reading {
	list := make([]chart.Reading, len(jogs))
	for i, j := range jogs {
		list[i] = chart.Reading{X: float64(j.Pulse), Y: j.Ratio.Value, StdErr: j.Ratio.StdErr}
	}
	return list
}

// edgesHeight is as many rows as the chart of the edges makes use of.
const edgesHeight = 11

func drawDeadBand(c *canvas.Canvas, tries []deadband.Try, edges []deadband.Edge) bool {
	if len(tries) == 0 && len(edges) == 0 {
		return false
	}
	side := func(s deadband.Side) chart.Side {
		return chart.Side{Outward: chartEdge(tries, edges, s, measure.Outward), Inward: chartEdge(tries, edges, s, measure.Inward)}
	}
	d := chart.Edges{Below: side(deadband.Below), Above: side(deadband.Above)}
	c = inset(c)
	if c.H < edgesHeight+chart.LeastHistory {
		chart.DrawEdges(c, d)
		return true
	}
	chart.DrawEdges(c.Part(canvas.Rect{X: 0, Y: 0, W: c.W, H: edgesHeight}), d)
	chart.DrawHistory(c.Part(canvas.Rect{X: 0, Y: edgesHeight, W: c.W, H: c.H - edgesHeight}), d)
	return true
}

func drawCurve(c *canvas.Canvas, a *feed.Axis, t *feed.Task) bool {
	readings := t.Curve
	if a.Result.Curve != nil && t.Status != feed.Running {
		readings = a.Result.Curve.Readings
	}
	if len(readings) == 0 {
		return false
	}
	d := chart.Curve{Readings: ofReadings(readings, nil), XUnit: "us", YUnit: "ratio"}
	if r := a.Result.Check; r != nil {
		d.XLo, d.XHi = float64(r.PulseLeast), float64(r.PulseMost)
	}
	chart.DrawCurve(inset(c), d)
	return true
}

// drawFit draws the fitted curve through its readings.
func (o *Overview) drawFit(c *canvas.Canvas, a *feed.Axis, place feed.Place) {
	d := chart.Curve{Readings: ofReadings(a.Result.Curve.Readings, a.Result.Fit.Model.Outliers), XUnit: "us", YUnit: "ratio"}
	if o.line.place == place {
		d.LineX, d.LineY, d.Low, d.High = o.line.x, o.line.y, o.line.low, o.line.high
	}
	chart.DrawCurve(inset(c), d)
}

func ofReadings(readings []measure.Reading, outliers []variator.Outlier) []chart.Reading {
	list := make([]chart.Reading, len(readings))
	for i, r := range readings {
		list[i] = chart.Reading{X: float64(r.Pulse), Y: r.Ratio.Value, StdErr: r.Ratio.StdErr, Inward: r.Approach == measure.Inward}
		for _, out := range outliers {
			if out.Pulse == r.Pulse && math.Abs(out.Ratio-r.Ratio.Value) < 1e-12 {
				list[i].Left = true
			}
		}
	}
	return list
}
