package tui

import (
	"fmt"
	"strings"

	"trunnion/tui/ask"
	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/keys"
	"trunnion/tui/overview"
	"trunnion/tui/theme"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// ask puts the question that stands before an intent.
func (m *root) ask(i keys.Intent) {
	q := m.questionFor(i)
	q.Then = i
	q.Begin(m.now())
	m.question = &q
}

func (m *root) questionFor(i keys.Intent) ask.Question {
	switch i {
	case keys.Arm:
		return armQuestion(m.snap.Rig)
	case keys.RunTask:
		return taskQuestion(&m.snap, m.focus)
	case keys.RunAll:
		return allQuestion(&m.snap, m.unattended)
	case keys.Clear:
		return clearQuestion(&m.snap)
	}
	return quitQuestion(m.moving())
}

func armQuestion(r rig.Rig) ask.Question {
	return ask.Question{
		Title: "Arm the rig?",
		Text: []string{
			"Armed, the drive shaft and the axes move whenever you start a task, until you stop or quit.",
			"A software stop is not an emergency stop. Keep a hard switch in the motor's supply within reach, and follow your local rules for machines.",
			"Hands, hair and cords clear of the shaft; nothing loose on the axes. From where they stand now there must be room either way, unless you said at the start where they stand: " + room(r) + ".",
		},
		Yes: "arm it",
	}
}

// room is how far every joint must be free.
func room(r rig.Rig) string {
	var list []string
	for _, j := range r.Joints {
		if !j.Endless {
			list = append(list, fmt.Sprintf("%s %g %s", j.Name, j.FreeAtStart, j.Unit))
		}
	}
	if len(list) == 0 {
		return "every joint is endless"
	}
	return strings.Join(list, ", ")
}

func taskQuestion(s *feed.Snapshot, p feed.Place) ask.Question {
	a := &s.Axes[p.Axis]
	about := overview.Tell(p.Name())
	q := ask.Question{
		Title: fmt.Sprintf("Run %s of %s?", p.Name(), a.Name),
		Text:  []string{"It moves: " + about.Moves + ".", "With it moves: " + moved(s.Rig, p.Axis) + ". Keep clear; space stops."},
		Yes:   "it may move",
	}
	if a.Has(p.Task) {
		q.Text = append(q.Text, "It has a result already. A new one replaces it, and what was built on it goes.")
	}
	return q
}

// moved names what an axis moves.
func moved(r rig.Rig, axis int) string {
	list := []string{"drive shaft"}
	for _, j := range r.Moves(axis) {
		list = append(list, r.Joints[j].Name)
	}
	return strings.Join(list, ", ")
}

func allQuestion(s *feed.Snapshot, unattended bool) ask.Question {
	tasks, axes := 0, 0
	for i := range s.Axes {
		n := 0
		for t := range session.Tasks() {
			if !s.Axes[i].Has(t) {
				n++
			}
		}
		tasks += n
		if n > 0 {
			axes++
		}
	}
	q := ask.Question{
		Title: "Run all that is left?",
		Text: []string{
			fmt.Sprintf("%s on %s, one axis finished before the next. It ends at the first task that fails.", count(tasks, "task"), counted(axes, "axis", "axes")),
			"The drive shaft and every axis move, slow and fast. Keep clear; space stops.",
		},
		Yes: "all of it may move",
	}
	if !unattended {
		q.Text = append(q.Text, fmt.Sprintf("Stay with it: without a key for %.0f minutes everything is parked.", presenceTime.Minutes()))
	}
	return q
}

func count(n int, of string) string { return counted(n, of, of+"s") }

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func clearQuestion(s *feed.Snapshot) ask.Question {
	why := s.StopText
	if why == "" {
		why = s.Sample.Cause.String()
	}
	return ask.Question{
		Title: "Clear the stop?",
		Text: []string{
			"It was stopped: " + why + ".",
			"Clear it only when you have seen why and made it safe. Nothing moves: the rig is safe afterwards, not armed.",
		},
		Yes: "I have seen why",
	}
}

func quitQuestion(moving bool) ask.Question {
	q := ask.Question{
		Title: "Park and quit?",
		Text:  []string{"Every axis goes to its neutral and the drive off. All that was measured is in the record."},
		Yes:   "quit",
	}
	if moving {
		q.Text = append(q.Text, "A task is running. It ends without a result.")
	}
	return q
}

// drawTooSmall says how much room is needed, and what still works.
func drawTooSmall(c *canvas.Canvas, s *feed.Snapshot) {
	word, badge := overview.Badge(s)
	lines := []string{
		fmt.Sprintf("%d x %d is too small", c.W, c.H),
		fmt.Sprintf("make it %d x %d", overview.LeastWidth, overview.LeastHeight),
		"space stops",
	}
	y := max(0, (c.H-len(lines)-2)/2)
	c.Text(max(0, (c.W-len(word)-2)/2), y, " "+word+" ", badge)
	for i, line := range lines {
		c.Text(max(0, (c.W-c.Width(line))/2), y+2+i, line, theme.Plain)
	}
}
