package screenout

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/mattn/go-runewidth"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// terminal is a small model of a terminal: enough to read back what the differ
// writes, and strict about everything else.
type terminal struct {
	w, h  int
	cells []canvas.Cell
	x, y  int
	role  theme.Role
	looks map[string]theme.Role
	other strings.Builder // private modes and the like, as they came
}

func newTerminal(w, h int, t theme.Theme) *terminal {
	m := &terminal{w: w, h: h, cells: make([]canvas.Cell, w*h), looks: map[string]theme.Role{}}
	for r := theme.Role(0); r <= theme.BadgeStopped; r++ {
		if _, known := m.looks[t.Sequence(r)]; !known {
			m.looks[t.Sequence(r)] = r
		}
	}
	for i := range m.cells { // something that was there before
		m.cells[i] = canvas.Cell{Rune: '?', Role: theme.Trouble}
	}
	return m
}

// alike maps roles of the same look to one of them.
func (m *terminal) alike(t theme.Theme, c canvas.Cell) canvas.Cell {
	c.Role = m.looks[t.Sequence(c.Role)]
	return c
}

// write reads bytes as a terminal would; they must end where a sign ends.
func (m *terminal) write(b []byte) {
	if n := m.writeWhole(b); n != len(b) {
		panic(fmt.Sprintf("%q is cut short", b[n:]))
	}
}

// writeWhole reads as many whole signs and sequences as there are and returns
// their length.
func (m *terminal) writeWhole(b []byte) int {
	at := 0
	for at < len(b) {
		rest := b[at:]
		switch {
		case rest[0] != 0x1b:
			if !utf8.FullRune(rest) {
				return at
			}
			r, n := utf8.DecodeRune(rest)
			m.print(r)
			at += n
		case len(rest) < 2:
			return at
		case rest[1] == '\\':
			at += 2
		default:
			n := 2
			for n < len(rest) && (rest[n] < 0x40 || rest[n] > 0x7e) {
				n++
			}
			if n == len(rest) {
				return at
			}
			m.sequence(string(rest[2:n]), rest[n])
			at += n + 1
		}
	}
	return at
}

func (m *terminal) print(r rune) {
	w := (&runewidth.Condition{StrictEmojiNeutral: true}).RuneWidth(r)
	if m.x < 0 || m.x+w > m.w || m.y >= m.h {
		panic(fmt.Sprintf("%q written at %d,%d of %dx%d", r, m.x, m.y, m.w, m.h))
	}
	row := m.cells[m.y*m.w : (m.y+1)*m.w]
	row[m.x] = canvas.Cell{Rune: r, Role: m.role}
	if w == 2 {
		row[m.x+1] = canvas.Cell{Rune: 0, Role: m.role}
	}
	m.x += w
	if m.x == m.w {
		m.x = -1 // where the cursor is now is the terminal's own affair
	}
}

func (m *terminal) sequence(parameters string, final byte) {
	number := func(i int) int {
		parts := strings.Split(parameters, ";")
		if i >= len(parts) || parts[i] == "" {
			return 1
		}
		n, err := strconv.Atoi(parts[i])
		if err != nil {
			panic(err)
		}
		return n
	}
	blank := canvas.Cell{Rune: ' ', Role: theme.Plain}
	switch {
	case strings.HasPrefix(parameters, "?"):
		m.other.WriteString("\x1b[" + parameters + string(final))
	case final == 'H':
		m.y, m.x = number(0)-1, number(1)-1
	case final == 'C':
		m.x += number(0)
	case final == 'J' && parameters == "2":
		for i := range m.cells {
			m.cells[i] = blank
		}
	case final == 'K' && parameters == "":
		if m.role != theme.Plain {
			panic("an erase in colour")
		}
		for x := m.x; x < m.w; x++ {
			m.cells[m.y*m.w+x] = blank
		}
	case final == 'm':
		role, known := m.looks["\x1b["+parameters+"m"]
		if !known {
			panic("unknown look " + strconv.Quote(parameters))
		}
		m.role = role
	default:
		panic("unknown sequence " + strconv.Quote(parameters+string(final)))
	}
}
