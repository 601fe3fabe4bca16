// Package ask is a question with the answers yes and no, in the middle of the
// screen.
//
// What starts motion is never answered by a key that is still down from before:
// a yes counts only when the question has stood for a moment, and when the same
// key was not pressed just before.
package ask

import (
	"time"

	"trunnion/tui/bar"
	"trunnion/tui/canvas"
	"trunnion/tui/keys"
	"trunnion/tui/theme"
)

// Settle is how long a question stands before a yes counts, and how long it must
// be since the last yes that did not: several times the 30 ms or so after which a
// key that is held comes again (a common default).
const Settle = 250 * time.Millisecond

// Question is a question under way.
type Question struct {
	Title string
	Text  []string // paragraphs
	Yes   string   // what yes does, as a sentence
	Then  any      // what the root does at a yes

	since time.Time // it has been asked
	last  time.Time // a yes was pressed that did not count
}

// Begin notes when it was asked.
func (q *Question) Begin(now time.Time) { q.since, q.last = now, time.Time{} }

// Answer reports whether a yes at this moment counts.
func (q *Question) Answer(now time.Time) bool {
	ok := now.Sub(q.since) >= Settle && (q.last.IsZero() || now.Sub(q.last) >= Settle)
	q.last = now
	return ok
}

const mostWidth = 76

// Draw draws the question over what is on the canvas.
func (q *Question) Draw(c *canvas.Canvas) {
	w := min(c.W-4, mostWidth)
	var lines []string
	for _, paragraph := range q.Text {
		lines = append(lines, "")
		lines = append(lines, c.Wrap(paragraph, w-4)...)
	}
	h := min(len(lines)+4, c.H-1)
	box := c.Part(canvas.Rect{X: (c.W - w) / 2, Y: (c.H - h) / 2, W: w, H: h})
	box.Clear()
	frame(box)
	box.TextCut(2, 0, w-4, " "+q.Title+" ", theme.Title)
	for i, line := range lines[:min(len(lines), h-4)] {
		box.Text(2, 1+i, line, theme.Plain)
	}
	x := 2
	for _, k := range keys.Answers() {
		x = box.Text(x, h-2, k.Show, theme.KeyOn)
		text := " " + k.Name
		if k.Intent == keys.Yes {
			text += ", " + q.Yes
		}
		x = box.Text(x, h-2, text, theme.Plain) + 3
	}
	box.Text(x, h-2, "space", theme.KeyOn)
	box.Text(x+len("space"), h-2, " stop", theme.Plain)
}

func frame(c *canvas.Canvas) {
	g := c.Glyphs
	for y := range c.H {
		c.Put(0, y, g.Upright, theme.Plain)
		c.Put(c.W-1, y, g.Upright, theme.Plain)
	}
	for _, y := range []int{0, c.H - 1} {
		c.Line(1, y, c.W-2, g.Rule, theme.Plain)
	}
	c.Put(0, 0, g.TopLeft, theme.Plain)
	c.Put(c.W-1, 0, g.TopRight, theme.Plain)
	c.Put(0, c.H-1, g.BottomLeft, theme.Plain)
	c.Put(c.W-1, c.H-1, g.BottomRight, theme.Plain)
}

// Bar draws the keys of a question into the row of keys.
func (q *Question) Bar(c *canvas.Canvas, s keys.State) {
	c.Clear()
	stop, _ := keys.Find(keys.Table(), " ")
	bar.Draw(c, append([]keys.Key{stop}, keys.Answers()...), s)
}
