package theme

import (
	"strconv"
	"strings"
)

// Theme turns roles into the sequences of one terminal.
type Theme struct {
	profile   Profile
	sequences [roles]string
}

// New makes a theme.
func New(p Profile, g Ground) Theme {
	t := Theme{profile: p}
	if p == Bare {
		return t
	}
	for r := range roles {
		t.sequences[r] = looks[r].sequence(p, g)
	}
	return t
}

// Sequence sets a role's look whatever was set before. It is empty where the
// terminal has no looks.
func (t Theme) Sequence(r Role) string { return t.sequences[r] }

// sequence is an SGR (ECMA-48, 8.3.117) that starts with a reset, so that looks
// never add up.
func (l look) sequence(p Profile, g Ground) string {
	codes := []string{""} // an empty parameter is 0: all off
	for _, a := range []struct {
		on   bool
		code string
	}{{l.bold, "1"}, {l.faint, "2"}, {l.underline, "4"}, {l.reverse || l.ground != none && p == Attributes, "7"}} {
		if a.on {
			codes = append(codes, a.code)
		}
	}
	if p >= Sixteen {
		if l.colour != none {
			codes = append(codes, l.hueOn(g).code(p, 30))
		}
		if l.ground != none {
			codes = append(codes, black(p), l.ground.code(p, 40))
		}
	}
	return "\x1b[" + strings.Join(codes, ";") + "m"
}

// hueOn is the look's colour on a ground.
func (l look) hueOn(g Ground) hue {
	if g == Dark {
		return brighter[l.colour]
	}
	return l.colour
}

// black as text, spelled out where the sixteen colours may have been changed.
func black(p Profile) string {
	if p >= TwoHundred {
		return "38;5;16"
	}
	return "30"
}

// code is the colour as text (base 30) or behind it (base 40).
func (h hue) code(p Profile, base int) string {
	k := inks[h]
	switch p {
	case TrueColour:
		return strconv.Itoa(base+8) + ";2;" + strconv.Itoa(int(k.full.R)) + ";" + strconv.Itoa(int(k.full.G)) + ";" + strconv.Itoa(int(k.full.B))
	case TwoHundred:
		return strconv.Itoa(base+8) + ";5;" + strconv.Itoa(int(k.xterm))
	}
	return strconv.Itoa(base + int(k.ansi))
}
