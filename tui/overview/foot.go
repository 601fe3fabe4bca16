package overview

import (
	"fmt"
	"math"
	"time"

	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/screen"
	"trunnion/tui/theme"
	"trunnion/tuning/bench"
	"trunnion/tuning/session"
)

// foot is the three lines that answer what moves next, what is known, and what
// the person should do.
type foot struct {
	next, sure, do string
	trouble        bool // the last line is about something wrong
	running        bool // what comes next matters more than what is known
}

// answers writes the three lines.
func answers(t *screen.Tick, edges string) foot {
	f := foot{next: nextLine(t), sure: sureLine(t, edges)}
	f.do, f.trouble = doLine(t)
	f.running = t.Feed.Running != feed.Nowhere
	return f
}

func silent(s *feed.Snapshot) bool { return !s.Seen || s.Link.Silent > SilentAfter }

func nextLine(t *screen.Tick) string {
	s := &t.Feed
	switch {
	case s.Running != feed.Nowhere:
		if text := s.Task(s.Running).Intends; text != "" {
			return text
		}
		return fmt.Sprintf("%s of %s begins", s.Running.Name(), s.Axes[s.Running.Axis].Name)
	case silent(s):
		return "nothing: there is no word from the controller"
	case s.Sample.State == bench.Stopped:
		return "nothing moves until the stop is cleared on purpose"
	case t.Keys.AllDone:
		return "nothing moves; every axis is done, and any task may be run again"
	}
	if name := t.Focus.Name(); !name.Moves() {
		return fmt.Sprintf("nothing moves, not in %s either: it only computes", name)
	}
	return "nothing moves until you ask. Then: " + Tell(t.Focus.Name()).Brief
}

func sureLine(t *screen.Tick, edges string) string {
	s := &t.Feed
	axis := &s.Axes[t.Focus.Axis]
	if s.Running != feed.Nowhere {
		if s.Running.Name() == session.DeadBand && edges != "" {
			return edges
		}
		if text := s.Task(s.Running).Learned; text != "" {
			return text
		}
		axis = &s.Axes[s.Running.Axis]
	}
	if s.Sample.State == bench.Stopped {
		return "stopped: " + stopWords(s)
	}
	task := t.Focus.Task
	if trouble := axis.Tasks[task].Trouble; trouble != "" && s.Running == feed.Nowhere {
		return trouble
	}
	for ; task >= 0; task-- {
		if axis.Has(task) {
			return known(axis, session.Tasks()[task])
		}
	}
	return fmt.Sprintf("nothing is known of %s yet: no neutral, no direction, no zero", axis.Name)
}

// stopWords is why the rig is stopped.
func stopWords(s *feed.Snapshot) string {
	if s.StopText != "" {
		return s.StopText
	}
	return s.Sample.Cause.String()
}

func doLine(t *screen.Tick) (text string, trouble bool) {
	s := &t.Feed
	switch {
	case t.Notice.Text != "":
		return t.Notice.Text, t.Notice.Trouble
	case silent(s):
		return "look at the controller's cable and supply; it stops by itself after 0.3 s without a word from here", true
	case s.Sample.State == bench.Stopped:
		return "see why it stopped and make it safe, then press c to clear the stop", true
	case t.Alone > 0:
		return fmt.Sprintf("press any arrow key: without a sign of you everything is parked in %.0f s", math.Ceil(t.Alone.Seconds())), true
	case t.Keys.Busy != "":
		return "wait: " + t.Keys.Busy, false
	case t.Keys.Running:
		return runningWords(s), false
	}
	axis := &s.Axes[t.Focus.Axis]
	task := &axis.Tasks[t.Focus.Task]
	if task.Status == feed.Failed || task.Status == feed.Stopped {
		return again(t), true
	}
	if found := axis.Findings(t.Focus.Task); len(found) > 0 {
		return found[0].ToTell, true
	}
	return idleWords(t), false
}

// again is how to go on after a task that ended without a result.
func again(t *screen.Tick) string {
	if t.Focus.Name().Moves() && !t.Keys.Armed {
		return "see above what it was and mend it, then press a to arm and enter to run it again"
	}
	return "see above what it was and mend it, then press enter to run it again"
}

func runningWords(s *feed.Snapshot) string {
	if s.Running != feed.Nowhere && !s.Running.Name().Moves() {
		return "nothing; this only computes"
	}
	if s.Running != feed.Nowhere {
		return fmt.Sprintf("nothing; keep clear of the drive shaft and of %s. Space stops", s.Axes[s.Running.Axis].Name)
	}
	return "nothing; keep clear of the drive shaft and the axes. Space stops"
}

func idleWords(t *screen.Tick) string {
	axis := t.Feed.Axes[t.Focus.Axis]
	name := t.Focus.Name()
	switch {
	case t.Keys.AllDone:
		return "q parks and quits; everything is in the record"
	case t.Keys.Needs != "":
		return fmt.Sprintf("%s needs %s first: go there with the arrows", name, t.Keys.Needs)
	case name.Moves() && !t.Keys.Armed:
		return "hands and cords clear of shaft and axes, hard switch within reach, then press a to arm"
	case axis.Has(t.Focus.Task):
		return fmt.Sprintf("go on with the arrows; enter runs %s again, r runs all that is left", name)
	}
	return fmt.Sprintf("press enter to run %s of %s, or r for all that is left", name, axis.Name)
}

// drawFoot draws the three lines. Rows beyond three go to those that need them,
// what to do first.
func drawFoot(c *canvas.Canvas, f foot) {
	const indent = 7
	texts, next, sure := []string{f.do, f.sure, f.next}, 2, 1
	if f.running {
		texts, next, sure = []string{f.do, f.next, f.sure}, 1, 2
	}
	need := make([]int, len(texts))
	wrapped := make([][]string, len(texts))
	for i, text := range texts {
		wrapped[i] = c.Wrap(text, c.W-indent-1)
		need[i] = len(wrapped[i])
	}
	rows := allot(need, c.H)
	y := 0
	for _, line := range []struct {
		name string
		of   int
	}{{"Next", next}, {"Sure", sure}, {"Do", 0}} {
		role := theme.Plain
		if line.of == 0 && f.trouble {
			role = theme.Trouble
		}
		c.Text(1, y, line.name, theme.Strong)
		block(c, indent, y, rows[line.of], wrapped[line.of], role)
		y += rows[line.of]
	}
}

// allot gives each its row, and then the spare ones to those that need more, in
// order. Rows that nobody needs stay over.
func allot(need []int, rows int) []int {
	got := make([]int, len(need))
	for i := range got {
		got[i] = 1
		rows--
	}
	for i := range need {
		for ; rows > 0 && got[i] < need[i]; rows-- {
			got[i]++
		}
	}
	return got
}

// block writes as many of the lines as there are rows; the last one says if there
// were more.
func block(c *canvas.Canvas, x, y, rows int, lines []string, role theme.Role) {
	for i := range min(rows, len(lines)) {
		text := lines[i]
		if i == rows-1 && len(lines) > rows {
			text += " …"
		}
		c.TextCut(x, y+i, c.W-x-1, text, role)
	}
}

// left is a time to go, as a person would say it.
func left(seconds float64) string {
	if seconds >= 100 {
		return fmt.Sprintf("about %.0f min left", math.Ceil(seconds/60))
	}
	return fmt.Sprintf("about %.0f s left", seconds)
}

// clock is the time of day of a sentence.
func clock(t time.Time) string { return t.Format("15:04:05") }
