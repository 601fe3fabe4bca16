// Package glyph holds the signs a screen is drawn with, in three sets: one with
// Braille dots and eighths of a block, one with line drawing only for consoles
// whose font has little more, and one in ASCII. Text is written with the signs of
// the full set everywhere; Plain turns it into the set in force.
//
// Sets are immutable and may be shared.
package glyph

import (
	"strings"
	"unicode/utf8"
)

// Set is a set of signs. All but PlusMinus are one cell wide.
type Set struct {
	Name  string
	ASCII bool // nothing else may be written
	// Braille says that lines are drawn with the dots of U+2800 to U+28FF.
	Braille bool
	// Levels of a bar from nothing to full, one cell each.
	Levels []rune
	Rule   rune // a line across
	Upright,
	Tick, // of an axis below a chart
	Corner, // of both axes
	TickLeft rune // of an axis beside it
	BandLeft,
	BandMiddle,
	BandRight rune // ├─┼─┤
	Fill, Rest rune // of a bar that shows progress
	Dot        rune // not yet
	Line       rune // a line in a chart without Braille
	Pointer    string
	TopLeft, TopRight, BottomLeft,
	BottomRight rune // of a dialog
	replace *strings.Replacer // from the full set; nil changes nothing
}

// The three sets.
var (
	Full = &Set{
		Name: "full", Braille: true, Levels: []rune(" ▁▂▃▄▅▆▇█"), Rule: '─', Upright: '│', Tick: '┬', Corner: '└', TickLeft: '┤',
		BandLeft: '├', BandMiddle: '┼', BandRight: '┤', Fill: '━', Rest: '─', Dot: '·', Line: '·', Pointer: "›",
		TopLeft: '┌', TopRight: '┐', BottomLeft: '└', BottomRight: '┘',
	}
	// Console is for the Linux console, whose fonts hold 256 or 512 signs.
	Console = &Set{
		Name: "console", Levels: []rune(" ▄█"), Rule: '─', Upright: '│', Tick: '┬', Corner: '└', TickLeft: '┤',
		BandLeft: '├', BandMiddle: '┼', BandRight: '┤', Fill: '█', Rest: '─', Dot: '·', Line: '·', Pointer: ">",
		TopLeft: '┌', TopRight: '┐', BottomLeft: '└', BottomRight: '┘',
		replace: strings.NewReplacer("…", ".", "›", ">"),
	}
	ASCII = &Set{
		Name: "ascii", ASCII: true, Levels: []rune(" _.-=*#"), Rule: '-', Upright: '|', Tick: '+', Corner: '+', TickLeft: '+',
		BandLeft: '|', BandMiddle: '+', BandRight: '|', Fill: '#', Rest: '-', Dot: '.', Line: '.', Pointer: ">",
		TopLeft: '+', TopRight: '+', BottomLeft: '+', BottomRight: '+',
		replace: strings.NewReplacer("±", "+-", "·", ".", "…", "..", "›", ">", "°", " deg", "µ", "u", "×", "x", "–", "-", "—", "-",
			"’", "'", "−", "-", "≤", "<=", "≥", ">=", "σ", "sigma"),
	}
)

// Plain is the text in signs of the set. What ASCII does not have becomes a
// question mark.
func (s *Set) Plain(text string) string {
	if s.replace == nil {
		return text
	}
	if !ascii(text) {
		text = s.replace.Replace(text)
	}
	if !s.ASCII || ascii(text) {
		return text
	}
	return strings.Map(func(r rune) rune {
		if r >= utf8.RuneSelf {
			return '?'
		}
		return r
	}, text)
}

func ascii(text string) bool {
	for i := range len(text) {
		if text[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// Level is the sign of a bar filled to a share from 0 to 1. A share above nought
// never looks like nothing.
func (s *Set) Level(share float64) rune {
	n := len(s.Levels) - 1
	k := int(share*float64(n) + 0.5)
	if !(share > 0) {
		k = 0
	} else {
		k = max(1, min(n, k))
	}
	return s.Levels[k]
}

// Detect finds the set from the environment: ASCII unless the locale is UTF-8.
func Detect(env func(string) string) *Set {
	locale := env("LC_ALL")
	for _, name := range []string{"LC_CTYPE", "LANG"} {
		if locale == "" {
			locale = env(name)
		}
	}
	locale = strings.ToUpper(locale)
	switch {
	case !strings.Contains(locale, "UTF-8") && !strings.Contains(locale, "UTF8"):
		return ASCII
	case env("TERM") == "linux":
		return Console
	case env("TERM") == "dumb" || env("TERM") == "":
		return ASCII
	}
	return Full
}
