package overview

import (
	"fmt"
	"math"

	"trunnion/tui/canvas"
	"trunnion/tui/chart"
	"trunnion/tui/feed"
	"trunnion/tui/theme"
)

const (
	liveLabel  = 7
	liveNumber = 13
	liveScale  = 18
)

// strand is one value of the live view.
type strand struct {
	label  string
	number string
	scale  string
	sweep  chart.Sweep
	rows   int
	role   theme.Role
}

// drawLive draws the recent past of an axis, sweeping in place.
func drawLive(c *canvas.Canvas, axis int, numbers, now *feed.Snapshot) {
	w := c.W - 1 - liveLabel - liveNumber
	scales := c.W >= 100
	if scales {
		w -= liveScale
	}
	y := 0
	for _, s := range strands(axis, c.H, w, numbers, now) {
		c.Text(1, y+s.rows-1, s.label, theme.Faint)
		chart.DrawSweep(c.Part(canvas.Rect{X: 1 + liveLabel, Y: y, W: w, H: s.rows}), s.sweep, s.role)
		c.TextRight(1+liveLabel+w+liveNumber-1, y+s.rows-1, s.number, theme.Plain)
		if scales {
			c.Text(1+liveLabel+w+liveNumber+1, y+s.rows-1, s.scale, theme.Faint)
		}
		y += s.rows
	}
}

// strands chooses what the rows are used for.
func strands(axis, rows, w int, numbers, now *feed.Snapshot) []strand {
	drive, tilt, ratio := driveStrand(numbers, now, w), tiltStrand(axis, numbers, now, w), ratioStrand(axis, numbers, now, w)
	switch {
	case rows >= 5:
		tilt.rows, ratio.rows = 2, 2
		return []strand{drive, tilt, ratio}
	case rows >= 3:
		return []strand{drive, tilt, ratio}
	case rows == 2:
		return []strand{tilt, ratio}
	case rows == 1:
		return []strand{ratio}
	}
	return nil
}

func driveStrand(numbers, now *feed.Snapshot, w int) strand {
	_, hi := chart.Span(now.Sweep.Drive, now.Sweep.Newest, w, 1)
	hi = math.Max(hi, 1.25*float64(now.Rig.Drive.NominalRPM))
	s := strand{label: "drive", number: "-", sweep: chart.Sweep{Values: now.Sweep.Drive, Newest: now.Sweep.Newest, Hi: hi}, rows: 1, role: theme.Measured}
	s.scale = fmt.Sprintf("0 to %.0f", hi)
	if numbers.Seen {
		s.number = fmt.Sprintf("%.0f rpm", numbers.Drive)
	}
	return s
}

func tiltStrand(axis int, numbers, now *feed.Snapshot, w int) strand {
	values := now.Sweep.Tilt[axis]
	lo, hi := chart.Span(values, now.Sweep.Newest, w, 20)
	s := strand{label: "tilt", number: "no pulse", sweep: chart.Sweep{Values: values, Newest: now.Sweep.Newest, Lo: lo, Hi: hi}, rows: 1, role: theme.Chosen}
	s.scale = fmt.Sprintf("%.0f to %.0f", lo, hi)
	if p := numbers.Sample.Axes[now.Rig.Axes[axis].Servo].Pulse; p > 0 {
		s.number = p.String()
	}
	return s
}

func ratioStrand(axis int, numbers, now *feed.Snapshot, w int) strand {
	values := now.Sweep.Ratio[axis]
	lo, hi := chart.Span(values, now.Sweep.Newest, w, 0.02)
	most := math.Max(math.Abs(lo), math.Abs(hi))
	s := strand{label: "ratio", number: "-", sweep: chart.Sweep{Values: values, Newest: now.Sweep.Newest, Lo: -most, Hi: most}, rows: 1, role: theme.Measured}
	s.scale = fmt.Sprintf("%+.3g to %+.3g", -most, most)
	if m := numbers.Moves[axis]; m.Turning {
		s.number = fmt.Sprintf("%+.3f", m.Ratio)
	}
	return s
}
