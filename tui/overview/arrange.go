package overview

import "trunnion/tui/canvas"

// Least size at which the screen is readable; below it the root says so.
const (
	LeastWidth  = 80
	LeastHeight = 20
)

// Layout is where the parts of the screen are. Together with the rules they
// cover it, and none overlaps another.
type Layout struct {
	Head    canvas.Rect // one row: rig, drive, neutral, link, state
	Grid    canvas.Rect // names of the tasks, then a row an axis
	Title   canvas.Rect // one row: what the picture is of, and how far it has come
	Picture canvas.Rect
	Words   canvas.Rect // what was said; empty where there is no room
	Live    canvas.Rect // the recent past of drive, tilt and ratio
	Foot    canvas.Rect // next, sure, do
	Bar     canvas.Rect // one row of keys
	Rules   []int       // rows with a rule across
	Divider canvas.Rect // between picture and words where they stand side by side
}

// wide is the width from which the words stand beside the picture.
const wide = 130

// arrange divides a screen of at least the least size among its parts, for a rig
// of so many axes.
func arrange(w, h, axes int) Layout {
	foot := footRows(w, h, axes)
	body := h - fixedRows - axes - foot
	live := liveRows(body)
	var l Layout
	y := 0
	take := func(rows int) canvas.Rect {
		r := canvas.Rect{X: 0, Y: y, W: w, H: rows}
		y += rows
		return r
	}
	rule := func() { l.Rules = append(l.Rules, take(1).Y) }
	l.Head = take(1)
	rule()
	l.Grid = take(1 + axes)
	rule()
	l.Title = take(1)
	rest := body - live
	if w >= wide {
		beside := w * 2 / 5
		l.Picture = take(rest)
		l.Picture.W = w - beside - 1
		l.Divider = canvas.Rect{X: l.Picture.W, Y: l.Picture.Y, W: 1, H: rest}
		l.Words = canvas.Rect{X: l.Picture.W + 1, Y: l.Picture.Y, W: beside, H: rest}
	} else {
		words := wordRows(rest)
		l.Picture = take(rest - words)
		l.Words = take(words)
	}
	l.Live = take(live)
	l.Foot = take(foot)
	rule()
	l.Bar = take(1)
	return l
}

// fixedRows are head, three rules, the names of the tasks, title and bar.
const fixedRows = 7

// footRows is three where rows are scarce; more let long sentences break.
func footRows(w, h, axes int) int {
	switch room := h - fixedRows - axes; {
	case room >= 18 && w < wide:
		return 5
	case room >= 13:
		return 4
	}
	return 3
}

func liveRows(body int) int {
	switch {
	case body >= 24:
		return 5
	case body >= 14:
		return 3
	case body >= 7:
		return 2
	case body >= 5:
		return 1
	}
	return 0
}

func wordRows(rest int) int {
	switch {
	case rest >= 20:
		return 8
	case rest >= 14:
		return 5
	case rest >= 11:
		return 3
	case rest >= 8:
		return 2
	case rest >= 7:
		return 1
	}
	return 0
}
