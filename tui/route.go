package tui

import (
	"context"
	"errors"
	"slices"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"trunnion/tui/feed"
	"trunnion/tui/keys"
	"trunnion/tui/screen"
	"trunnion/tuning/session"
)

// keyed takes what the person pressed. Keys that come faster than they are read
// arrive as one; they are taken apart, so that a stop among them stops.
func (m *root) keyed(k tea.KeyMsg) tea.Cmd {
	m.touched = m.now()
	if k.Paste {
		// Nothing is ever pasted here. Text that comes by mistake asks for nothing,
		// but while something moves it is a reason to stop.
		if m.moving() {
			return m.stop("text was pasted while something moved")
		}
		return nil
	}
	if k.Type == tea.KeySpace || slices.Contains(k.Runes, ' ') || k.Type == tea.KeyCtrlAt {
		return m.stop("space was pressed")
	}
	if k.Type != tea.KeyRunes || len(k.Runes) < 2 {
		return m.pressed(k.String())
	}
	var cmds []tea.Cmd
	for _, r := range k.Runes {
		// A yes is never part of a burst: that is a key that is held, or the keys of
		// a line that stood still, pressed for what the screen showed before.
		if name := string(r); m.question == nil || name != "y" {
			cmds = append(cmds, m.pressed(name))
		}
	}
	return tea.Batch(cmds...)
}

// pressed routes one key: to the question, else to the page, else to the table.
func (m *root) pressed(name string) tea.Cmd {
	if m.question != nil {
		return m.answered(name)
	}
	k, known := keys.Find(keys.Table(), name)
	if !known {
		return nil
	}
	if k.Intent == keys.Interrupt {
		return m.interrupt()
	}
	if m.helping && k.Intent != keys.Redraw {
		var cmd tea.Cmd
		m.help, cmd = m.help.Update(screen.Press{Intent: k.Intent})
		return cmd
	}
	if why, on := k.Enabled(m.state()); !on {
		m.say(k.Name+": "+why, false)
		return nil
	}
	return m.do(k.Intent)
}

// do carries out what a key asks for.
func (m *root) do(i keys.Intent) tea.Cmd {
	switch i {
	case keys.Left, keys.Right, keys.Up, keys.Down:
		m.move(i)
	case keys.Arm, keys.RunAll, keys.Clear, keys.Quit:
		m.ask(i)
	case keys.RunTask:
		if m.focus.Name().Moves() {
			m.ask(i)
			return nil
		}
		return m.carryOut(i)
	case keys.Help:
		m.helping = true
	case keys.Back:
		m.notice = screen.Notice{}
	case keys.Redraw:
		m.redraw()
	case keys.View:
		var cmd tea.Cmd
		m.main, cmd = m.main.Update(screen.Press{Intent: i})
		return cmd
	}
	return nil
}

// move moves the focus.
func (m *root) move(i keys.Intent) {
	m.focusMoved = m.now()
	switch i {
	case keys.Left:
		m.focus.Task = max(0, m.focus.Task-1)
	case keys.Right:
		m.focus.Task = min(len(session.Tasks())-1, m.focus.Task+1)
	case keys.Up:
		m.focus.Axis = max(0, m.focus.Axis-1)
	case keys.Down:
		m.focus.Axis = min(len(m.snap.Axes)-1, m.focus.Axis+1)
	}
}

// interrupt stops and parks while anything moves, and asks to quit otherwise.
func (m *root) interrupt() tea.Cmd {
	if !m.moving() {
		m.helping = false
		m.ask(keys.Quit)
		return nil
	}
	m.question = nil
	return command(stopping, func() error {
		return errors.Join(m.stops.stop("ctrl-c was pressed"), m.actions.Park())
	})
}

// stop stops the rig, whatever the screen is about.
func (m *root) stop(why string) tea.Cmd {
	m.question = nil
	return command(stopping, func() error { return m.stops.stop(why) })
}

// answered takes a key while a question stands.
func (m *root) answered(name string) tea.Cmd {
	k, _ := keys.Find(keys.Answers(), name)
	intent, _ := m.question.Then.(keys.Intent)
	if pressed, _ := keys.Find(keys.Table(), name); pressed.Intent == keys.Interrupt {
		if m.moving() {
			return m.interrupt()
		}
		k.Intent = keys.No
		if intent == keys.Quit {
			k.Intent = keys.Yes
		}
	}
	switch k.Intent {
	case keys.No:
		m.question = nil
	case keys.Yes:
		if !m.question.Answer(m.now()) {
			return nil
		}
		m.question = nil
		return m.agreed(intent)
	}
	return nil
}

// agreed carries out what the person said yes to, if it still may be.
func (m *root) agreed(i keys.Intent) tea.Cmd {
	for _, k := range keys.Table() {
		if k.Intent != i {
			continue
		}
		if why, on := k.Enabled(m.state()); !on {
			m.say(k.Name+": "+why, false)
			return nil
		}
	}
	return m.carryOut(i)
}

// carryOut starts what was asked for and confirmed.
func (m *root) carryOut(i keys.Intent) tea.Cmd {
	switch i {
	case keys.Arm:
		return m.act(arming, func() error { return m.actions.Arm(m.ctx) })
	case keys.Clear:
		return m.act(clearing, func() error { return m.actions.Clear(m.ctx) })
	case keys.RunTask:
		axis, task := m.focus.Axis, m.focus.Name()
		return m.run(func(ctx context.Context) error { return m.actions.RunTask(ctx, axis, task) })
	case keys.RunAll:
		m.focusMoved = time.Time{}
		return m.run(m.actions.Run)
	case keys.Quit:
		return m.quit()
	}
	return nil
}

// act starts something short.
func (m *root) act(w what, action func() error) tea.Cmd {
	m.busy = words[w]
	return command(w, action)
}

// run starts a task, or all that is left.
func (m *root) run(action func(context.Context) error) tea.Cmd {
	ctx, end := context.WithCancelCause(m.ctx)
	m.runs++
	m.endRun = end
	m.notice = screen.Notice{}
	return command(running, func() error {
		defer end(nil)
		return action(ctx)
	})
}

// quit ends what runs, parks, and leaves when both are done.
func (m *root) quit() tea.Cmd {
	m.quitting = true
	if m.endRun != nil {
		m.endRun(&Left{})
	}
	return m.act(quitting, m.actions.Park)
}

// patience is how long quitting waits for a task to end after everything is
// parked.
const patience = 2 * time.Second

// acted takes the outcome of something asked for.
func (m *root) acted(a acted) tea.Cmd {
	switch a.what {
	case running:
		m.runs--
		m.endRun = nil
	case arming, clearing, parking:
		m.busy = ""
	case quitting:
		m.parked, m.quitErr = true, a.err
		if m.runs > 0 {
			return after(waiting, patience)
		}
	}
	if m.parked && (m.runs == 0 || a.what == waiting) {
		return tea.Quit
	}
	m.look()
	if a.err != nil && !m.told(a.err) {
		m.say(a.err.Error(), true)
	}
	return nil
}

// told reports whether an error is one that a task ended with, which the screen
// tells anyway.
func (m *root) told(err error) bool {
	for i := range m.snap.Axes {
		for _, t := range m.snap.Axes[i].Tasks {
			if t.Trouble == err.Error() && (t.Status == feed.Failed || t.Status == feed.Stopped) {
				return true
			}
		}
	}
	return false
}

// say tells the person something once.
func (m *root) say(text string, trouble bool) {
	m.notice, m.noticeUntil = screen.Notice{Text: text, Trouble: trouble}, m.now().Add(noticeTime)
}
