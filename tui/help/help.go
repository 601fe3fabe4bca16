// Package help is the page that says what every key does, made from the table of
// keys, and what the words and signs on the screen mean.
package help

import (
	tea "github.com/charmbracelet/bubbletea"

	"trunnion/tui/canvas"
	"trunnion/tui/keys"
	"trunnion/tui/screen"
	"trunnion/tui/theme"
)

// Help is the page.
type Help struct {
	state keys.State
	first int // line at the top
	lines int // of the page as last drawn
	room  int
}

// New makes the page.
func New() *Help { return &Help{} }

// SetSize implements screen.Screen.
func (h *Help) SetSize(int, int) {}

// Update implements screen.Screen.
func (h *Help) Update(msg tea.Msg) (screen.Screen, tea.Cmd) {
	switch msg := msg.(type) {
	case screen.Tick:
		h.state = msg.Keys
	case screen.Press:
		switch msg.Intent {
		case keys.Up:
			h.first = max(0, h.first-1)
		case keys.Down:
			h.first = max(0, min(h.first+1, h.lines-h.room))
		case keys.Back, keys.Help, keys.Quit, keys.View, keys.RunTask:
			return h, func() tea.Msg { return screen.Done{} }
		}
	}
	return h, nil
}

// signs are the words and signs that need explaining.
var signs = [][2]string{
	{"SAFE", "nothing can move"},
	{"ARMED", "the rig may move; the drive is off"},
	{"MOVING", "the drive is on"},
	{"STOPPED", "it was stopped, and stays so until cleared on purpose"},
	{"?", "after a state: that was the last word from the controller"},
	{"·", "not yet"},
	{"look", "done, and something was found: focus it to see what"},
	{"±", "one standard error"},
	{"o x *", "dead band: turned, still, both. Curve: read outward, inward, both"},
	{"( )", "round a key: it does nothing now; press it to be told why"},
}

// line is one line of the page.
type line struct {
	key, text string
	role      theme.Role
}

// Draw implements screen.Screen.
func (h *Help) Draw(c *canvas.Canvas) {
	const indent = 12
	lines := h.page(c, indent)
	h.lines, h.room = len(lines), c.H-2
	first := max(0, min(h.first, len(lines)-h.room))
	c.Text(1, 0, "Keys", theme.Title)
	rest := "esc back"
	if len(lines) > h.room {
		rest = "up, down: more · esc back"
	}
	c.TextRight(c.W-1, 0, rest, theme.Faint)
	c.Line(0, 1, c.W, c.Glyphs.Rule, theme.Faint)
	for i := range min(h.room, len(lines)-first) {
		l := lines[first+i]
		c.Text(1, 2+i, l.key, theme.KeyOn)
		c.Text(indent, 2+i, l.text, l.role)
	}
}

// page is all lines of it.
func (h *Help) page(c *canvas.Canvas, indent int) []line {
	var lines []line
	add := func(key, text string, role theme.Role) {
		for _, part := range c.Wrap(text, c.W-indent-1) {
			lines = append(lines, line{key, part, role})
			key = ""
		}
	}
	for _, k := range keys.Table() {
		add(k.Show, k.Help, theme.Plain)
		if why, on := k.Enabled(h.state); !on {
			add("", "not now: "+why, theme.Faint)
		}
	}
	lines = append(lines, line{"", "", theme.Plain}, line{"Signs", "", theme.Plain})
	for _, s := range signs {
		add(s[0], s[1], theme.Plain)
	}
	add("", "", theme.Plain)
	lines = append(lines, line{"", "", theme.Plain})
	add("", "A software stop is not an emergency stop. Keep a hard switch in the motor's supply within reach, and follow your local rules for machines.", theme.Strong)
	return lines
}
