package theme

import (
	"strconv"
	"strings"
)

// Profile is what a terminal can do.
type Profile uint8

// Profiles, from least to most.
const (
	Bare       Profile = iota // places its cursor, and nothing else
	Attributes                // bold, faint and reverse, no colour
	Sixteen
	TwoHundred // and fifty-six
	TrueColour
)

// Ground is the background of the terminal as far as it is known.
type Ground uint8

// Grounds.
const (
	Unknown Ground = iota
	Dark
	Light
)

// Detect finds the profile from the environment. NO_COLOR takes away colour and
// leaves bold and reverse, as its definition has it; TERM=dumb takes away all.
func Detect(env func(string) string) Profile {
	term := env("TERM")
	switch {
	case term == "" || term == "dumb":
		return Bare
	case env("NO_COLOR") != "":
		return Attributes
	case strings.HasPrefix(term, "vt1") || strings.HasPrefix(term, "vt2"):
		return Attributes
	case env("COLORTERM") == "truecolor" || env("COLORTERM") == "24bit":
		return TrueColour
	case strings.Contains(term, "256color"):
		return TwoHundred
	}
	return Sixteen
}

// DetectGround reads COLORFGBG, which some terminals set to their colours'
// numbers, the background last. The terminal itself is never asked: an answer
// that does not come costs seconds, and one that comes late is taken for keys.
func DetectGround(env func(string) string) Ground {
	parts := strings.Split(env("COLORFGBG"), ";")
	n, err := strconv.Atoi(parts[len(parts)-1])
	switch {
	case len(parts) < 2 || err != nil || n < 0 || n > 15:
		return Unknown
	case n == 7 || n > 8:
		return Light
	}
	return Dark
}
