package theme

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func env(pairs ...string) func(string) string {
	m := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		m[pairs[i]] = pairs[i+1]
	}
	return func(k string) string { return m[k] }
}

var (
	paper = RGB{0xFF, 0xFF, 0xFF}
	night = RGB{0x00, 0x00, 0x00}
)

// The values of the contrast ratio are the definition's own bounds and one
// pair that can be worked out by hand.
func TestContrastIsTheOneOfWCAG(t *testing.T) {
	assert.InDelta(t, 21, Contrast(paper, night), 1e-9, "WCAG 2.1: black on white is 21:1")
	assert.InDelta(t, 1, Contrast(paper, paper), 1e-9)
	// Grey #777777: ((0x77/255 + 0.055)/1.055)^2.4 = 0.18447, 1.05/0.23447.
	assert.InDelta(t, 4.478, Contrast(RGB{0x77, 0x77, 0x77}, paper), 0.001)
}

// A colour as text or mark needs 3:1 (WCAG 2.1, 1.4.11, and 1.4.3 for bold
// text) on a ground that is not known, so on both; where the ground is known to
// be dark, 4.5:1 (1.4.3).
func TestColoursHaveContrastOnDarkAndLight(t *testing.T) {
	for r := range roles {
		l := looks[r]
		if l.colour != none {
			k, d := inks[l.hueOn(Unknown)], inks[l.hueOn(Dark)]
			for _, ground := range []RGB{paper, night} {
				assert.GreaterOrEqual(t, Contrast(k.full, ground), 3.0, "role %d, true colour on %v", r, ground)
				assert.GreaterOrEqual(t, Contrast(cube(k.xterm), ground), 3.0, "role %d, 256 colours on %v", r, ground)
			}
			assert.GreaterOrEqual(t, Contrast(d.full, night), 4.5, "role %d, true colour on dark", r)
			assert.GreaterOrEqual(t, Contrast(cube(d.xterm), night), 4.5, "role %d, 256 colours on dark", r)
		}
		if l.ground != none { // black text on it
			k := inks[l.ground]
			assert.GreaterOrEqual(t, Contrast(k.full, night), 4.5, "badge %d, true colour", r)
			assert.GreaterOrEqual(t, Contrast(cube(k.xterm), night), 4.5, "badge %d, 256 colours", r)
		}
	}
}

// The index of the 256 colours must look like the colour it stands for: nearer
// to it than to any other of the palette.
func TestIndexesOfTheCubeAreTheNearestHue(t *testing.T) {
	distance := func(a, b RGB) int {
		sq := func(x, y uint8) int { d := int(x) - int(y); return d * d }
		return sq(a.R, b.R) + sq(a.G, b.G) + sq(a.B, b.B)
	}
	for h := orange; h < hues; h++ {
		for other := orange; other < hues; other++ {
			if other != h {
				assert.Less(t, distance(cube(inks[h].xterm), inks[h].full), distance(cube(inks[h].xterm), inks[other].full), "hue %d against %d", h, other)
			}
		}
	}
}

func TestProfileFromTheEnvironment(t *testing.T) {
	for _, c := range []struct {
		env  func(string) string
		want Profile
	}{
		{env("TERM", "dumb"), Bare},
		{env(), Bare},
		{env("TERM", "xterm-256color", "NO_COLOR", "1"), Attributes},
		{env("TERM", "xterm-256color", "NO_COLOR", ""), TwoHundred},
		{env("TERM", "xterm-256color", "COLORTERM", "truecolor"), TrueColour},
		{env("TERM", "linux"), Sixteen},
		{env("TERM", "screen"), Sixteen},
		{env("TERM", "tmux-256color"), TwoHundred},
		{env("TERM", "vt220"), Attributes},
	} {
		assert.Equal(t, c.want, Detect(c.env))
	}
}

func TestGroundFromTheEnvironment(t *testing.T) {
	assert.Equal(t, Unknown, DetectGround(env()))
	assert.Equal(t, Unknown, DetectGround(env("COLORFGBG", "default;default")))
	assert.Equal(t, Dark, DetectGround(env("COLORFGBG", "15;0")))
	assert.Equal(t, Dark, DetectGround(env("COLORFGBG", "7;default;8")))
	assert.Equal(t, Light, DetectGround(env("COLORFGBG", "0;15")))
}

func TestSequences(t *testing.T) {
	assert.Empty(t, New(Bare, Unknown).Sequence(Trouble), "a bare terminal gets no looks")
	assert.Equal(t, "\x1b[;1;7m", New(Attributes, Unknown).Sequence(BadgeStopped), "without colour a badge is reversed")
	assert.Equal(t, "\x1b[;1m", New(Attributes, Unknown).Sequence(Trouble))
	assert.Equal(t, "\x1b[;1;31m", New(Sixteen, Unknown).Sequence(Trouble))
	assert.Equal(t, "\x1b[;1;38;5;166m", New(TwoHundred, Unknown).Sequence(Trouble))
	assert.Equal(t, "\x1b[;38;2;0;114;178m", New(TrueColour, Unknown).Sequence(Measured))
	assert.Equal(t, "\x1b[;38;2;86;180;233m", New(TrueColour, Dark).Sequence(Measured))
	assert.Equal(t, "\x1b[;1;30;43m", New(Sixteen, Unknown).Sequence(BadgeArmed))
	assert.Equal(t, "\x1b[m", New(Sixteen, Unknown).Sequence(Plain))
}
