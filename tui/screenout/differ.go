package screenout

import (
	"strconv"
	"unicode/utf8"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// differ turns a frame into the bytes that make a terminal show it, given what
// it shows already.
type differ struct {
	theme  theme.Theme
	w, h   int
	shown  []canvas.Cell
	x, y   int // where the cursor is; -1 is anywhere
	role   theme.Role
	styled bool // role is in force at the terminal
	buffer []byte
}

const (
	clearAll = "\x1b[H\x1b[2J"
	clearEnd = "\x1b[K"
	// bridge is the longest stretch of unchanged cells that is sent again rather
	// than jumped over: a jump takes four bytes at least.
	bridge = 3
	// worthErasing is the fewest blank cells for which an erase to the end of the
	// line is sent in their place.
	worthErasing = 6
)

// forget makes the next frame a whole one.
func (d *differ) forget() { d.w, d.h = 0, 0 }

// frame returns the bytes for a frame; they are good until the next call.
func (d *differ) frame(next *canvas.Canvas) []byte {
	d.buffer = d.buffer[:0]
	if next.W != d.w || next.H != d.h {
		d.begin(next)
	}
	for y := range next.H {
		d.row(y, next.Row(y))
	}
	return d.buffer
}

// begin clears the terminal for a frame of another size.
func (d *differ) begin(next *canvas.Canvas) {
	d.w, d.h = next.W, next.H
	d.shown = make([]canvas.Cell, d.w*d.h)
	for i := range d.shown {
		d.shown[i] = canvas.Cell{Rune: ' ', Role: theme.Plain}
	}
	d.styled = false
	d.style(theme.Plain)
	d.buffer = append(d.buffer, clearAll...)
	d.x, d.y = 0, 0
}

// row sends what changed in a row.
func (d *differ) row(y int, next []canvas.Cell) {
	shown := d.shown[y*d.w : (y+1)*d.w]
	end := contentEnd(next)
	erase := changed(shown[end:], next[end:]) >= worthErasing
	if !erase {
		end = d.w
	}
	for x := 0; x < end; {
		if shown[x] == next[x] {
			x++
			continue
		}
		x = d.run(y, x, end, shown, next)
	}
	if erase {
		d.move(end, y)
		d.style(theme.Plain)
		d.buffer = append(d.buffer, clearEnd...)
	}
	copy(shown, next)
}

// run sends cells from x on until a stretch of unchanged ones makes a jump
// cheaper, and returns where it ended.
func (d *differ) run(y, x, end int, shown, next []canvas.Cell) int {
	for next[x].Rune == 0 && x > 0 { // the second half of a wide sign goes with the first
		x--
	}
	d.move(x, y)
	same := 0
	for i := x; i < end; i++ {
		if shown[i] == next[i] && next[i].Rune != 0 {
			same++
			if same > bridge || next[i].Role != d.role {
				break
			}
			continue
		}
		for k := i - same; k <= i; k++ {
			d.cell(next[k])
		}
		same, x = 0, i+1
	}
	return x
}

// cell sends one cell.
func (d *differ) cell(c canvas.Cell) {
	d.x++
	if d.x >= d.w {
		d.x, d.y = -1, -1 // terminals differ in where the cursor waits at the edge
	}
	if c.Rune == 0 {
		return
	}
	d.style(c.Role)
	d.buffer = utf8.AppendRune(d.buffer, c.Rune)
}

// style puts a role in force.
func (d *differ) style(r theme.Role) {
	if d.styled && d.role == r {
		return
	}
	if !d.styled || d.theme.Sequence(r) != d.theme.Sequence(d.role) {
		d.buffer = append(d.buffer, d.theme.Sequence(r)...)
	}
	d.role, d.styled = r, true
}

// move brings the cursor to a place.
func (d *differ) move(x, y int) {
	switch {
	case d.x == x && d.y == y:
		return
	case d.y == y && d.x >= 0 && x > d.x:
		d.buffer = append(d.buffer, "\x1b["...)
		if n := x - d.x; n > 1 {
			d.buffer = strconv.AppendInt(d.buffer, int64(n), 10)
		}
		d.buffer = append(d.buffer, 'C')
	default:
		d.buffer = append(d.buffer, "\x1b["...)
		d.buffer = strconv.AppendInt(d.buffer, int64(y+1), 10)
		if x > 0 {
			d.buffer = append(d.buffer, ';')
			d.buffer = strconv.AppendInt(d.buffer, int64(x+1), 10)
		}
		d.buffer = append(d.buffer, 'H')
	}
	d.x, d.y = x, y
}

// contentEnd is the place after the last cell that is not a plain blank.
func contentEnd(row []canvas.Cell) int {
	for x := len(row); x > 0; x-- {
		if row[x-1] != (canvas.Cell{Rune: ' ', Role: theme.Plain}) {
			return x
		}
	}
	return 0
}

func changed(shown, next []canvas.Cell) int {
	n := 0
	for i := range next {
		if shown[i] != next[i] {
			n++
		}
	}
	return n
}
