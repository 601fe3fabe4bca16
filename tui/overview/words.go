package overview

import (
	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/theme"
	"trunnion/tuning/bench"
	"trunnion/tuning/session"
)

// drawWords draws what was said of a task, the newest last.
func drawWords(c *canvas.Canvas, lines []feed.Line, place feed.Place) {
	indent := 1
	timed := c.W >= 100 || c.H >= 12
	if timed {
		indent += len("15:04:05") + 2
	}
	const kind = len("intends") + 2
	y := c.H
	said := false
	for i := len(lines) - 1; i >= 0 && y > 0; i-- {
		l := lines[i]
		if l.Kind == session.Began || l.Place != place && !(l.Place == feed.Nowhere && l.Kind == session.State) {
			continue
		}
		said = true
		text := c.Wrap(l.Text, c.W-indent-kind-1)
		if len(text) > y {
			text = cutTo(c, text, y, c.W-indent-kind-1)
		}
		y -= len(text)
		if timed {
			c.Text(1, y, clock(l.At), theme.Faint)
		}
		c.Text(indent, y, kindWord(l.Kind), theme.Faint)
		for k, line := range text {
			c.Text(indent+kind, y+k, line, lineRole(l.Kind))
		}
	}
	if !said && c.H > 8 {
		c.Text(1, 0, "nothing was said of this yet", theme.Faint)
	}
}

// cutTo keeps the first n lines, the last one saying that there were more.
func cutTo(c *canvas.Canvas, lines []string, n, w int) []string {
	kept := append([]string(nil), lines[:n]...)
	kept[n-1] = c.Cut(kept[n-1]+" …", w)
	return kept
}

func kindWord(k session.Kind) string {
	if k == session.Kind(bench.Found) {
		return "finding"
	}
	return string(k)
}

func lineRole(k session.Kind) theme.Role {
	switch k {
	case session.Kind(bench.Decided), session.Kind(bench.Result):
		return theme.Strong
	case session.Kind(bench.Found), session.Ended:
		return theme.Trouble
	}
	return theme.Plain
}
