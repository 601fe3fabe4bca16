// Package overview is the main screen: the map of the job, axes down and tasks
// across; below it the task in focus as it goes or went; at the foot what moves
// next, what is known, and what to do.
//
// It draws what the last Tick told. Cells, sentences, charts and layout are each
// made by functions of data alone; the screen only puts them in their places.
package overview

import (
	"fmt"

	tea "github.com/charmbracelet/bubbletea"

	"trunnion/tui/bar"
	"trunnion/tui/canvas"
	"trunnion/tui/chart"
	"trunnion/tui/feed"
	"trunnion/tui/keys"
	"trunnion/tui/screen"
	"trunnion/tui/theme"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/session"
)

// Overview is the main screen.
type Overview struct {
	w, h  int
	tick  screen.Tick
	told  bool // there was a tick
	turns int  // of the view key, since the focus came here

	asked job // the last computation asked for
	edges edgesFound
	line  lineTraced
}

// New makes the screen. It shows nothing before the first tick.
func New() *Overview {
	nowhere := job{place: feed.Nowhere}
	return &Overview{asked: nowhere, edges: edgesFound{job: nowhere}, line: lineTraced{job: nowhere}}
}

// SetSize implements screen.Screen.
func (o *Overview) SetSize(w, h int) { o.w, o.h = w, h }

// Update implements screen.Screen.
func (o *Overview) Update(msg tea.Msg) (screen.Screen, tea.Cmd) {
	switch msg := msg.(type) {
	case screen.Tick:
		if msg.Focus != o.tick.Focus {
			o.turns = 0
		}
		o.tick, o.told = msg, true
		return o, o.compute()
	case screen.Press:
		if msg.Intent == keys.View {
			o.turns++
		}
	case edgesFound:
		if msg.job == o.asked {
			o.edges = msg
		}
	case lineTraced:
		if msg.job == o.asked {
			o.line = msg
		}
	}
	return o, nil
}

// compute starts what the picture in focus needs computed, unless that has been
// done or is under way.
func (o *Overview) compute() tea.Cmd {
	place := o.tick.Focus
	a := &o.tick.Feed.Axes[place.Axis]
	t := &a.Tasks[place.Task]
	switch {
	case place.Name() == session.DeadBand && (t.Status == feed.Running || a.Result.DeadBand == nil) && len(t.Tries) > 0:
		if j := (job{place, uint64(len(t.Tries))}); j != o.asked {
			o.asked = j
			return findEdges(j, t.Tries)
		}
	case place.Name() == session.Fit && a.Result.Fit != nil:
		if j := (job{place, t.Revision}); j != o.asked {
			o.asked = j
			return traceLine(j, a.Result.Fit)
		}
	}
	return nil
}

// edgesOf is the edges of a dead-band task: those of its result, or those so far.
func (o *Overview) edgesOf(place feed.Place) []deadband.Edge {
	a := &o.tick.Feed.Axes[place.Axis]
	if a.Result.DeadBand != nil && a.Tasks[place.Task].Status != feed.Running {
		return a.Result.DeadBand.Edges
	}
	if o.edges.place == place {
		return o.edges.edges
	}
	return nil
}

// Draw implements screen.Screen.
func (o *Overview) Draw(c *canvas.Canvas) {
	if !o.told {
		return
	}
	s, n := &o.tick.Feed, &o.tick.Numbers
	l := arrange(c.W, c.H, len(s.Axes))
	for _, y := range l.Rules {
		c.Line(0, y, c.W, c.Glyphs.Rule, theme.Faint)
	}
	for y := range l.Divider.H {
		c.Put(l.Divider.X, l.Divider.Y+y, c.Glyphs.Upright, theme.Faint)
	}
	drawHead(c.Part(l.Head), s.Rig.Name, n, s)
	drawGrid(c.Part(l.Grid), s.Axes, o.tick.Focus)
	o.drawTitle(c.Part(l.Title))
	o.drawView(c, l)
	drawLive(c.Part(l.Live), o.tick.Focus.Axis, n, s)
	drawFoot(c.Part(l.Foot), answers(&o.tick, o.edgeLine()))
	bar.Draw(c.Part(l.Bar), keys.Table(), o.tick.Keys)
}

// edgeLine is the edges so far of the search in focus.
func (o *Overview) edgeLine() string {
	if running := o.tick.Feed.Running; o.edges.place != running || o.tick.Focus != running {
		return ""
	}
	return edgeWords(o.edges.edges)
}

// view is one of the ways to look at a task: its picture, one of its findings, or
// what was said.
type view struct {
	finding *finding.Finding
	words   bool
	name    string
}

// views lists the ways to look at the task in focus, and which one is shown:
// unless the person turned on, the first finding once the task is over.
func (o *Overview) views() (all []view, shown int) {
	a := &o.tick.Feed.Axes[o.tick.Focus.Axis]
	all = append(all, view{})
	found := a.Findings(o.tick.Focus.Task)
	for i := range found {
		name := "finding"
		if len(found) > 1 {
			name = fmt.Sprintf("finding %d of %d", i+1, len(found))
		}
		all = append(all, view{finding: &found[i], name: name + ": " + string(found[i].Name)})
	}
	all = append(all, view{words: true, name: "what was said"})
	first := 0
	if len(found) > 0 && a.Tasks[o.tick.Focus.Task].Status != feed.Running {
		first = 1
	}
	return all, (first + o.turns) % len(all)
}

// drawView draws the view and, where they have a place of their own, the words.
func (o *Overview) drawView(c *canvas.Canvas, l Layout) {
	all, shown := o.views()
	v := all[shown]
	picture := l.Picture
	words := l.Words
	if l.Divider.Empty() {
		grow := 0
		switch {
		case v.words || v.finding != nil:
			grow = words.H
		case words.H <= 2 && words.H > 0: // a chart needs the rows more
			grow = words.H - 1
		}
		picture.H += grow
		words.Y, words.H = words.Y+grow, words.H-grow
	}
	drawWords(c.Part(words), o.tick.Feed.Lines, o.tick.Focus)
	part := c.Part(picture)
	switch {
	case v.finding != nil:
		drawFinding(part, *v.finding)
	case v.words:
		drawWords(part, o.tick.Feed.Lines, o.tick.Focus)
	default:
		o.drawPicture(part, o.tick.Focus)
	}
}

// drawTitle says what is being looked at, and how far it or what runs elsewhere
// has come.
func (o *Overview) drawTitle(c *canvas.Canvas) {
	s, focus := &o.tick.Feed, o.tick.Focus
	all, shown := o.views()
	title := s.Axes[focus.Axis].Name + " · " + string(focus.Name())
	x := c.Text(1, 0, title, theme.Title)
	right := c.W - 1
	switch {
	case s.Running == focus:
		right = o.drawProgress(c, s.Task(focus))
	case s.Running != feed.Nowhere:
		right = c.TextRight(right, 0, fmt.Sprintf("%s of %s is running", s.Running.Name(), s.Axes[s.Running.Axis].Name), theme.Measured)
	default:
		right = c.TextRight(right, 0, statusWord(&s.Axes[focus.Axis], focus.Task), theme.Faint)
	}
	if name := all[shown].name; name != "" {
		role := theme.Plain
		if all[shown].finding != nil {
			role = theme.Trouble
		}
		c.TextCut(x, 0, right-x-1, " · "+name, role)
	}
}

// drawProgress draws how far a running task has come and returns where it begins.
func (o *Overview) drawProgress(c *canvas.Canvas, t *feed.Task) int {
	p := t.Progress
	if p.Of == 0 {
		return c.TextRight(c.W-1, 0, "running", theme.Measured)
	}
	text := fmt.Sprintf("%d of %d, %s", p.Done, p.Of, left(p.SecondsLeft))
	x := c.TextRight(c.W-1, 0, text, theme.Plain) - 1
	w := min(24, c.W/5)
	chart.DrawProgress(c, x-w, 0, w, float64(p.Done)/float64(p.Of))
	return x - w
}

func statusWord(a *feed.Axis, task int) string {
	switch a.Tasks[task].Status {
	case feed.Failed:
		return "failed"
	case feed.Stopped:
		return "stopped"
	}
	if a.Has(task) {
		return "done"
	}
	return "not yet"
}
