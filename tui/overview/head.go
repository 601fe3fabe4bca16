package overview

import (
	"fmt"
	"math"
	"strings"
	"time"

	"trunnion/tui/canvas"
	"trunnion/tui/chart"
	"trunnion/tui/feed"
	"trunnion/tui/theme"
	"trunnion/tuning/bench"
)

// SilentAfter is how long without a sample counts as silence: the controller
// stops by itself after 0.3 s without a word from us, and word from it should
// come a hundred times a second.
const SilentAfter = 700 * time.Millisecond

// Badge is the word for the rig's state, and its role. A state that is not known
// to be still so has a question mark.
func Badge(s *feed.Snapshot) (string, theme.Role) {
	if !s.Seen {
		return "NO LINK", theme.BadgeStopped
	}
	word := strings.ToUpper(s.Sample.State.String())
	if s.Link.Silent > SilentAfter {
		return word + "?", theme.BadgeStopped
	}
	return word, [...]theme.Role{theme.BadgeSafe, theme.BadgeArmed, theme.BadgeMoving, theme.BadgeStopped}[min(s.Sample.State, bench.Stopped)]
}

// linkWords is how the connection does.
func linkWords(numbers, now *feed.Snapshot) (string, theme.Role) {
	switch {
	case !now.Seen:
		return "link: no sample yet", theme.Trouble
	case now.Link.Silent > SilentAfter:
		return fmt.Sprintf("link silent %.0f s", now.Link.Silent.Seconds()), theme.Trouble
	}
	text := fmt.Sprintf("link %.0f/s", math.Max(0, numbers.Link.PerSecond))
	if now.Link.Lost > 0 {
		return fmt.Sprintf("%s, %d lost", text, now.Link.Lost), theme.Trouble
	}
	return text + ", 0 lost", theme.Plain
}

func driveWords(numbers *feed.Snapshot) string {
	if !numbers.Seen {
		return "drive    - rpm"
	}
	return fmt.Sprintf("drive %4.0f rpm", numbers.Drive)
}

func neutralWords(s *feed.Snapshot) (string, theme.Role) {
	if s.Seen && s.Sample.Has(bench.NeutralKnown) {
		return "neutral known", theme.Plain
	}
	return "no neutral", theme.Strong
}

// drawHead draws the top line: what must be seen at all times.
func drawHead(c *canvas.Canvas, name string, numbers, now *feed.Snapshot) {
	word, badge := Badge(now)
	word = " " + word + " "
	right := c.TextRight(c.W, 0, word, badge) - 2
	link, role := linkWords(numbers, now)
	right = c.TextRight(right, 0, link, role) - 2
	neutral, role := neutralWords(now)
	right = c.TextRight(right, 0, neutral, role) - 2
	drive := driveWords(numbers)
	room := right - 1 - c.Width(drive) - 2
	named := min(c.Width(name), max(8, room))
	x := c.TextCut(1, 0, named, name, theme.Title) + 2
	x = c.Text(max(x, 1+named+2), 0, drive, theme.Plain) + 1
	if w := min(right-x, 24); w >= 6 {
		_, hi := chart.Span(now.Sweep.Drive, now.Sweep.Newest, w, 1)
		hi = math.Max(hi, 1.25*float64(now.Rig.Drive.NominalRPM))
		chart.DrawSweep(c.Part(canvas.Rect{X: x, Y: 0, W: w, H: 1}), chart.Sweep{Values: now.Sweep.Drive, Newest: now.Sweep.Newest, Hi: hi}, theme.Measured)
	}
}
