package screenout

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"trunnion/tui/canvas"
	"trunnion/tui/glyph"
	"trunnion/tui/theme"
)

// Whatever frames follow one another, a terminal that reads the differences
// shows the last one.
func TestATerminalShowsTheNewestFrame(t *testing.T) {
	signs := rapid.SampledFrom([]rune("  abc─█舞"))
	look := theme.New(theme.Sixteen, theme.Unknown)
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(1, 14).Draw(t, "w"), rapid.IntRange(1, 3).Draw(t, "h")
		d := differ{theme: look, x: -1, y: -1}
		model := newTerminal(w, h, look)
		frame := canvas.New(w, h, glyph.Full)
		for range rapid.IntRange(1, 6).Draw(t, "frames") {
			next := canvas.New(w, h, glyph.Full)
			for y := range h {
				copy(next.Row(y), frame.Row(y))
			}
			for range rapid.IntRange(0, 5).Draw(t, "changes") {
				n := rapid.IntRange(1, w).Draw(t, "n")
				text := string(rapid.SliceOfN(signs, n, n).Draw(t, "text"))
				next.Text(rapid.IntRange(0, w-1).Draw(t, "x"), rapid.IntRange(0, h-1).Draw(t, "y"), text, theme.Role(rapid.IntRange(0, int(theme.BadgeStopped)).Draw(t, "role")))
			}
			if rapid.IntRange(0, 9).Draw(t, "whole") == 0 {
				d.forget()
			}
			model.write(d.frame(next))
			for y := range h {
				for x, c := range next.Row(y) {
					if got, want := model.cells[y*w+x], model.alike(look, c); got != want {
						t.Fatalf("at %d,%d: the terminal shows %q in role %d, the frame has %q in %d", x, y, got.Rune, got.Role, want.Rune, want.Role)
					}
				}
			}
			frame = next
		}
	})
}

func TestNothingChangedSendsNothing(t *testing.T) {
	d := differ{theme: theme.New(theme.TwoHundred, theme.Unknown), x: -1, y: -1}
	frame := canvas.New(80, 24, glyph.Full)
	frame.Text(3, 3, "traverse", theme.Strong)
	assert.NotEmpty(t, d.frame(frame))
	assert.Empty(t, d.frame(frame))
}

// One changed digit costs a cursor move and the digit, and a look where it
// changes.
func TestADigitCostsAHandfulOfBytes(t *testing.T) {
	d := differ{theme: theme.New(theme.TwoHundred, theme.Unknown), x: -1, y: -1}
	frame := func(text string) *canvas.Canvas {
		c := canvas.New(80, 24, glyph.Full)
		c.Text(10, 5, text, theme.Plain)
		return c
	}
	d.frame(frame("412 rpm"))
	assert.Equal(t, "\x1b[6;13H3", string(d.frame(frame("413 rpm"))))
	assert.Equal(t, "\x1b[6;12H08", string(d.frame(frame("408 rpm"))))
	assert.Equal(t, "\x1b[6H\x1b[K", string(d.frame(frame(""))), "a row of blanks is one erase")
}

func BenchmarkFrame(b *testing.B) {
	d := differ{theme: theme.New(theme.TwoHundred, theme.Unknown), x: -1, y: -1}
	frames := [2]*canvas.Canvas{canvas.New(160, 50, glyph.Full), canvas.New(160, 50, glyph.Full)}
	frames[0].Text(10, 5, "412 rpm", theme.Plain)
	for i := 0; b.Loop(); i++ {
		d.frame(frames[i%2])
	}
}
