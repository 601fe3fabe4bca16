// Package theme says what the parts of a screen look like: every cell has a Role,
// and a Theme turns roles into terminal sequences for what the terminal can do.
//
// Colour only supports what words and signs already say. The same colour means
// the same thing everywhere: measured, predicted, band, trouble, chosen. Colours
// are those of M. Okabe and K. Ito, "Color Universal Design" (2008), which people
// with the common forms of colour blindness can tell apart; contrasts are
// computed and tested (WCAG 2.1).
//
// Values are immutable and may be shared.
package theme

// Role is what a cell of the screen is.
type Role uint8

// Roles. Badges are the words of the four states.
const (
	Plain Role = iota
	Strong
	Faint // rules, units, what may be passed over
	Title
	Focus  // the cell that has the focus
	KeyOn  // a key that does something now
	KeyOff // one that does not
	Measured
	Predicted
	Band
	Trouble
	Chosen
	BadgeSafe
	BadgeArmed
	BadgeMoving
	BadgeStopped
	roles
)

// look is what a role looks like where all can be had.
type look struct {
	bold, faint, reverse, underline bool
	colour                          hue // of the text
	ground                          hue // behind it; text on it is black
}

var looks = [roles]look{
	Plain:        {},
	Strong:       {bold: true},
	Faint:        {faint: true},
	Title:        {bold: true},
	Focus:        {bold: true, reverse: true},
	KeyOn:        {bold: true},
	KeyOff:       {faint: true},
	Measured:     {colour: blue},
	Predicted:    {colour: purple},
	Band:         {faint: true},
	Trouble:      {bold: true, colour: vermillion},
	Chosen:       {bold: true, colour: green},
	BadgeSafe:    {bold: true, ground: green},
	BadgeArmed:   {bold: true, ground: orange},
	BadgeMoving:  {bold: true, ground: skyBlue},
	BadgeStopped: {bold: true, ground: vermillion},
}
