package overview

import (
	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/theme"
	"trunnion/tuning/session"
)

// Widths of the columns of the grid: as narrow as they may be, and as wide as
// they are of use.
var (
	narrowest = [...]int{9, 9, 8, 9, 8, 7, 8}
	widest    = [...]int{17, 16, 18, 16, 16, 10, 18}
)

const mostName = 20

// columns is the width of the names and of each column.
func columns(w int, names []string, width func(string) int) (name int, cols []int) {
	for _, n := range names {
		name = max(name, width(n))
	}
	spare := w - 2
	for _, c := range narrowest {
		cols = append(cols, c)
		spare -= c + 1
	}
	name = max(min(name, mostName, spare), 4)
	spare -= name
	for grew := true; grew && spare > 0; {
		grew = false
		for i := range cols {
			if spare > 0 && cols[i] < widest[i] {
				cols[i]++
				spare--
				grew = true
			}
		}
	}
	return name, cols
}

// drawGrid draws the map of the job: axes down, tasks across.
func drawGrid(c *canvas.Canvas, axes []feed.Axis, focus feed.Place) {
	names := make([]string, len(axes))
	for i := range axes {
		names[i] = axes[i].Name
	}
	nameWidth, cols := columns(c.W, names, c.Width)
	x := 1 + nameWidth + 1
	for k, task := range session.Tasks() {
		role := theme.Faint
		if k == focus.Task {
			role = theme.Strong
		}
		c.TextCut(x, 0, cols[k], string(task), role)
		x += cols[k] + 1
	}
	for i := range axes {
		role := theme.Plain
		if i == focus.Axis {
			role = theme.Strong
		}
		c.TextCut(1, i+1, nameWidth, axes[i].Name, role)
		x := 1 + nameWidth + 1
		for k := range cols {
			drawCell(c, x, i+1, cols[k], &axes[i], k, focus == feed.Place{Axis: i, Task: k})
			x += cols[k] + 1
		}
	}
}

// drawCell draws one cell; that of the focus stands in brackets.
func drawCell(c *canvas.Canvas, x, y, w int, a *feed.Axis, task int, focused bool) {
	versions, role := cell(a, task, c.Glyphs.Dot)
	text := versions[len(versions)-1]
	for _, v := range versions {
		if c.Width(v) <= w {
			text = v
			break
		}
	}
	if !focused {
		c.TextCut(x, y, w, text, role)
		return
	}
	c.Put(x-1, y, '[', theme.Focus)
	end := c.TextCut(x, y, w, text, theme.Focus)
	c.Put(end, y, ']', theme.Focus)
}
