package theme

import "math"

// hue is a colour of the palette.
type hue uint8

// The palette of Okabe and Ito, less yellow, which has no contrast with white.
const (
	none hue = iota
	orange
	skyBlue
	green // bluish green
	blue
	vermillion
	purple // reddish purple
	hues
)

// RGB is a colour of 8 bits a channel in the sRGB space.
type RGB struct{ R, G, B uint8 }

// ink is a hue in the three ways a terminal may have it.
type ink struct {
	full RGB // true colour
	xterm,
	ansi uint8
}

// The full colours are those published. The indexes of the 256 colours are the
// nearest of the cube that keep a contrast of 3 with white as well; the sixteen
// are the nearest by name, and what they look like is the terminal's affair.
var inks = [hues]ink{
	orange:     {RGB{0xE6, 0x9F, 0x00}, 172, 3},
	skyBlue:    {RGB{0x56, 0xB4, 0xE9}, 74, 6},
	green:      {RGB{0x00, 0x9E, 0x73}, 29, 2},
	blue:       {RGB{0x00, 0x72, 0xB2}, 25, 4},
	vermillion: {RGB{0xD5, 0x5E, 0x00}, 166, 1},
	purple:     {RGB{0xCC, 0x79, 0xA7}, 168, 5},
}

// on a dark ground that is known to be dark the brighter hues read better; on
// one that is not known only those serve that have contrast with both.
var brighter = [hues]hue{orange: orange, skyBlue: skyBlue, green: green, blue: skyBlue, vermillion: vermillion, purple: purple}

// cube is the colour that xterm gives an index from 16 to 231 by default.
func cube(index uint8) RGB {
	steps := [...]uint8{0, 95, 135, 175, 215, 255}
	n := index - 16
	return RGB{steps[n/36], steps[n/6%6], steps[n%6]}
}

// Contrast is the ratio of the relative luminances of two colours, from 1 to 21,
// as WCAG 2.1 defines it ("contrast ratio" and "relative luminance").
func Contrast(a, b RGB) float64 {
	la, lb := luminance(a), luminance(b)
	return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
}

func luminance(c RGB) float64 {
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

func linear(channel uint8) float64 {
	s := float64(channel) / 255
	if s <= 0.03928 {
		return s / 12.92
	}
	return math.Pow((s+0.055)/1.055, 2.4)
}
