package overview

import (
	"strings"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
	"trunnion/tuning/finding"
)

// drawFinding draws a finding: what was seen, what it may be, how to tell, what to
// do.
func drawFinding(c *canvas.Canvas, f finding.Finding) {
	const indent = 10
	parts := []struct{ name, text string }{
		{"Seen", f.Evidence}, {"One of", strings.Join(f.OneOf, " · ")}, {"To tell", f.ToTell}, {"Cure", f.Cure},
	}
	// Rows go first to what the person does, then to what was seen.
	order := []int{2, 0, 1, 3}
	need, wrapped := make([]int, len(parts)), make([][]string, len(parts))
	for k, i := range order {
		wrapped[i] = c.Wrap(parts[i].text, min(c.W-indent-1, 96))
		need[k] = len(wrapped[i])
	}
	sum := 0
	for _, n := range need {
		sum += n
	}
	gap := 0
	if sum+len(parts) <= c.H {
		gap = 1
	}
	got := allot(need, c.H-gap*len(parts))
	rows := make([]int, len(parts))
	for k, i := range order {
		rows[i] = got[k]
	}
	y := gap
	for i, p := range parts {
		role := theme.Plain
		if p.name == "Seen" {
			role = theme.Measured
		}
		c.Text(1, y, p.name, theme.Strong)
		block(c.Part(canvas.Rect{X: 0, Y: 0, W: min(c.W, indent+97), H: c.H}), indent, y, rows[i], wrapped[i], role)
		y += rows[i] + gap
	}
}
