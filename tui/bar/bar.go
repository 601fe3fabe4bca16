// Package bar draws the row of keys at the foot of the screen from a table of keys.
package bar

import (
	"trunnion/tui/canvas"
	"trunnion/tui/keys"
	"trunnion/tui/theme"
)

// Draw draws the keys of a table in a row. Those that do nothing now stand in
// brackets and, where there is room, say why. Where there is none, the gaps grow
// narrow, then the least needed are left off.
func Draw(c *canvas.Canvas, table []keys.Key, s keys.State) {
	for _, try := range []struct {
		reasons bool
		gap     int
	}{{true, 3}, {true, 2}, {false, 3}, {false, 2}, {false, 1}} {
		if list := items(table, s, try.reasons, 1); width(c, list, try.gap) <= c.W-2 {
			draw(c, list, try.gap)
			return
		}
	}
	for least := 2; least < 10; least++ {
		if list := items(table, s, false, least); width(c, list, 1) <= c.W-2 {
			draw(c, list, 1)
			return
		}
	}
}

// item is a key in the bar.
type item struct {
	show, name string
	on         bool
}

func items(table []keys.Key, s keys.State, reasons bool, least int) []item {
	var list []item
	for _, k := range table {
		if k.Bar < least {
			continue
		}
		why, on := k.Enabled(s)
		i := item{k.Show, k.Name, on}
		if !on && reasons {
			i.name += ": " + why
		}
		list = append(list, i)
	}
	return list
}

func (i item) width(c *canvas.Canvas) int {
	w := c.Width(i.show) + 1 + c.Width(i.name)
	if !i.on {
		w += 2
	}
	return w
}

func width(c *canvas.Canvas, list []item, gap int) int {
	w := -gap
	for _, i := range list {
		w += i.width(c) + gap
	}
	return w
}

func draw(c *canvas.Canvas, list []item, gap int) {
	x := 1
	for _, i := range list {
		if i.on {
			x = c.Text(x, 0, i.show, theme.KeyOn)
			x = c.Text(x+1, 0, i.name, theme.Plain) + gap
			continue
		}
		x = c.Text(x, 0, "("+i.show+" "+i.name+")", theme.KeyOff) + gap
	}
}
