package canvas

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"trunnion/tui/glyph"
	"trunnion/tui/theme"
)

func TestTextIsCutAtTheEdge(t *testing.T) {
	c := New(6, 1, glyph.Full)
	assert.Equal(t, 6, c.Text(1, 0, "traverse", theme.Plain))
	assert.Equal(t, []string{" trave"}, c.Rows())
}

func TestAPartStaysInItsPlace(t *testing.T) {
	c := New(6, 3, glyph.Full)
	p := c.Part(Rect{2, 1, 3, 1})
	p.Text(0, 0, "abcdef", theme.Plain)
	p.Put(-1, 0, 'x', theme.Plain)
	p.Put(0, 1, 'x', theme.Plain)
	assert.Equal(t, []string{"      ", "  abc ", "      "}, c.Rows())
	assert.Equal(t, 0, c.Part(Rect{7, 0, 3, 1}).W)
	assert.Equal(t, 1, c.Part(Rect{5, 0, 3, 1}).W)
}

func TestWideSignsTakeTwoCells(t *testing.T) {
	c := New(5, 1, glyph.Full)
	c.Text(0, 0, "舞台x", theme.Plain)
	assert.Equal(t, []string{"舞台x"}, c.Rows())
	assert.Equal(t, rune(0), c.At(1, 0).Rune)
	c.Put(1, 0, '!', theme.Plain)
	assert.Equal(t, []string{" !台x"}, c.Rows(), "half a wide sign is no sign")
	c.Text(3, 0, "台", theme.Plain)
	assert.Equal(t, []string{" ! 台"}, c.Rows())
	d := New(3, 1, glyph.Full)
	assert.Equal(t, 2, d.Text(0, 0, "舞台", theme.Plain), "no half of a sign at the edge")
}

func TestCutAndWrap(t *testing.T) {
	c := New(1, 1, glyph.Full)
	assert.Equal(t, "right d…", c.Cut("right drum", 8))
	assert.Equal(t, "right…", c.Cut("right drum", 7))
	assert.Equal(t, "right drum", c.Cut("right drum", 10))
	assert.Equal(t, []string{"come to", "1528.0 from", "inside"}, c.Wrap("come to 1528.0 from inside", 11))
	assert.Equal(t, []string{"a", "bcd", "efg", "h i"}, c.Wrap("a bcdefgh i", 3))
	a := New(1, 1, glyph.ASCII)
	assert.Equal(t, 11, a.Width("47.2 ±0.9x"))
	assert.Equal(t, "47.2 +..", a.Cut("47.2 ±0.9", 8))
}

// Whatever is written, rows stay exactly as wide as the canvas, and wrapped
// lines fit.
func TestRowsAreAlwaysExactlyAsWide(t *testing.T) {
	words := rapid.StringOf(rapid.SampledFrom([]rune("ab ±·舞é\u0301\u200b…█⣿")))
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SampledFrom([]*glyph.Set{glyph.Full, glyph.Console, glyph.ASCII}).Draw(t, "set")
		c := New(rapid.IntRange(1, 12).Draw(t, "w"), 2, g)
		for range rapid.IntRange(1, 4).Draw(t, "texts") {
			c.Text(rapid.IntRange(-3, 13).Draw(t, "x"), rapid.IntRange(-1, 2).Draw(t, "y"), words.Draw(t, "text"), theme.Plain)
		}
		for _, row := range c.Rows() {
			if width(row) != c.W {
				t.Fatalf("%q is %d wide, not %d", row, width(row), c.W)
			}
		}
		text, w := words.Draw(t, "wrapped"), rapid.IntRange(2, 9).Draw(t, "width")
		for _, line := range c.Wrap(text, w) {
			if width(line) > w {
				t.Fatalf("%q is wider than %d", line, w)
			}
		}
		if cut := c.Cut(text, w); width(cut) > w {
			t.Fatalf("cut %q is wider than %d", cut, w)
		}
	})
}
