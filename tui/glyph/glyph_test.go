package glyph

import (
	"testing"

	"github.com/mattn/go-runewidth"
	"github.com/stretchr/testify/assert"
)

func TestPlainLeavesOnlyASCII(t *testing.T) {
	assert.Equal(t, "1528.4 +-0.6 us . 12 deg", ASCII.Plain("1528.4 ±0.6 us · 12°"))
	assert.Equal(t, "Schn?rboden", ASCII.Plain("Schnürboden"))
	assert.Equal(t, "1528.4 ±0.6", Console.Plain("1528.4 ±0.6"))
	assert.Equal(t, "…", Full.Plain("…"))
	once := ASCII.Plain("±·…×")
	assert.Equal(t, once, ASCII.Plain(once), "turning text plain twice changes nothing")
}

// Every sign takes one cell, or columns would not stand under each other; the
// ASCII set is ASCII.
func TestSignsAreOneCellWide(t *testing.T) {
	c := runewidth.Condition{}
	for _, s := range []*Set{Full, Console, ASCII} {
		signs := append([]rune{s.Rule, s.Upright, s.Tick, s.Corner, s.TickLeft, s.BandLeft, s.BandMiddle, s.BandRight, s.Fill, s.Rest, s.Dot, s.Line,
			s.TopLeft, s.TopRight, s.BottomLeft, s.BottomRight}, append(s.Levels, []rune(s.Pointer)...)...)
		for _, r := range signs {
			assert.Equal(t, 1, c.RuneWidth(r), "%s: %q", s.Name, r)
			if s.ASCII {
				assert.Less(t, r, rune(128), "%q", r)
			}
		}
	}
}

func TestLevel(t *testing.T) {
	for _, s := range []*Set{Full, Console, ASCII} {
		assert.Equal(t, s.Levels[0], s.Level(0))
		assert.Equal(t, s.Levels[1], s.Level(1e-6), "a little is not nothing")
		assert.Equal(t, s.Levels[len(s.Levels)-1], s.Level(1))
		assert.Equal(t, s.Levels[len(s.Levels)-1], s.Level(7))
	}
}

func TestDetect(t *testing.T) {
	of := func(pairs ...string) *Set {
		m := map[string]string{}
		for i := 0; i < len(pairs); i += 2 {
			m[pairs[i]] = pairs[i+1]
		}
		return Detect(func(k string) string { return m[k] })
	}
	assert.Same(t, Full, of("LANG", "en_GB.UTF-8", "TERM", "xterm"))
	assert.Same(t, Full, of("LANG", "C.utf8", "TERM", "xterm"))
	assert.Same(t, ASCII, of("LANG", "C", "TERM", "xterm"))
	assert.Same(t, ASCII, of("TERM", "xterm"), "no locale is the C locale")
	assert.Same(t, ASCII, of("LC_ALL", "POSIX", "LANG", "en_GB.UTF-8", "TERM", "xterm"), "LC_ALL overrules LANG")
	assert.Same(t, Console, of("LANG", "en_GB.UTF-8", "TERM", "linux"))
	assert.Same(t, ASCII, of("LANG", "en_GB.UTF-8", "TERM", "dumb"))
}
