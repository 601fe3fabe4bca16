package tui

import (
	"context"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"trunnion/tui/ask"
	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/glyph"
	"trunnion/tui/help"
	"trunnion/tui/keys"
	"trunnion/tui/overview"
	"trunnion/tui/screen"
	"trunnion/tuning/bench"
	"trunnion/tuning/session"
)

// Rates of the screen.
const (
	frameTime   = time.Second / 30
	numberTime  = time.Second / 4 // numbers are refreshed as often as they can be read
	noticeTime  = 8 * time.Second
	followAfter = 15 * time.Second // the focus follows the running task unless it was moved so lately
)

// config is what the root is made with.
type config struct {
	ctx        context.Context
	feed       *feed.Feed
	actions    Actions
	now        func() time.Time
	glyphs     *glyph.Set
	redraw     func()
	unattended bool
}

// root routes: sizes, keys and ticks in; frames out. It owns the size, the focus,
// the question under way, and what was asked of the session.
type root struct {
	config
	w, h  int
	stops *stopper

	main, help screen.Screen
	helping    bool
	question   *ask.Question

	snap, numbers feed.Snapshot
	numbersAt     time.Time
	focus         feed.Place
	focusMoved    time.Time
	notice        screen.Notice
	noticeUntil   time.Time
	touched       time.Time // the last key

	runs     int // under way: tasks, or all that is left
	endRun   context.CancelCauseFunc
	busy     string
	quitting bool
	parked   bool
	quitErr  error
}

// tick is a frame's time.
type tick struct{}

func newRoot(c config) *root {
	if c.redraw == nil {
		c.redraw = func() {}
	}
	m := &root{config: c, main: overview.New(), help: help.New(), stops: &stopper{actions: c.actions, now: c.now}, touched: c.now()}
	m.look()
	return m
}

// start is the first command.
func (m *root) start() tea.Cmd {
	return tea.Batch(nextTick(), command(waiting, func() error {
		m.feed.Seed(m.actions.Document())
		return nil
	}))
}

func nextTick() tea.Cmd {
	return tea.Tick(frameTime, func(time.Time) tea.Msg { return tick{} })
}

// update takes one message.
func (m *root) update(msg tea.Msg) tea.Cmd {
	switch msg := msg.(type) {
	case tick:
		return tea.Batch(nextTick(), m.look(), m.mindPresence())
	case tea.WindowSizeMsg:
		m.resize(msg.Width, msg.Height)
		return nil
	case tea.KeyMsg:
		return tea.Batch(m.keyed(msg), m.tell())
	case acted:
		return tea.Batch(m.acted(msg), m.tell())
	case screen.Done:
		m.helping = false
		return nil
	}
	var cmd tea.Cmd
	m.main, cmd = m.main.Update(msg)
	return cmd
}

func (m *root) resize(w, h int) {
	m.w, m.h = w, h
	m.main.SetSize(w, h)
	m.help.SetSize(w, h)
}

// look takes a snapshot and tells the screens.
func (m *root) look() tea.Cmd {
	now := m.now()
	m.snap = m.feed.Snapshot(now)
	if now.Sub(m.numbersAt) >= numberTime || !m.numbers.Seen {
		m.numbers, m.numbersAt = m.snap, now
	}
	if now.After(m.noticeUntil) {
		m.notice = screen.Notice{}
	}
	if r := m.snap.Running; r != feed.Nowhere && now.Sub(m.focusMoved) >= followAfter {
		m.focus = r
	}
	return m.tell()
}

// tell hands the screens how things stand.
func (m *root) tell() tea.Cmd {
	t := screen.Tick{
		Now: m.now(), Feed: m.snap, Numbers: m.numbers, Focus: m.focus, Keys: m.state(), Notice: m.notice, Alone: m.alone(),
	}
	var first, second tea.Cmd
	m.main, first = m.main.Update(t)
	m.help, second = m.help.Update(t)
	return tea.Batch(first, second)
}

// state is what decides which keys do something.
func (m *root) state() keys.State {
	axis := &m.snap.Axes[m.focus.Axis]
	s := keys.State{
		Linked: m.snap.Seen && m.snap.Link.Silent <= overview.SilentAfter, Rig: m.snap.Sample.State, Armed: m.snap.Armed,
		Running: m.runs > 0 || m.snap.Running != feed.Nowhere, Busy: m.busy,
		Axis: axis.Name, Task: m.focus.Name(), AllDone: true,
	}
	for i := range m.snap.Axes {
		s.AllDone = s.AllDone && m.snap.Axes[i].Next() < 0
	}
	if next := axis.Next(); next >= 0 && next < m.focus.Task {
		s.Needs = session.Tasks()[next]
	}
	return s
}

// moving reports whether anything moves or may at any moment.
func (m *root) moving() bool {
	return m.runs > 0 || m.snap.Running != feed.Nowhere || m.snap.Sample.State == bench.Moving
}

// frame draws the screen.
func (m *root) frame() *canvas.Canvas {
	c := canvas.New(m.w, m.h, m.glyphs)
	if m.w < overview.LeastWidth || m.h < overview.LeastHeight {
		drawTooSmall(c, &m.snap)
		return c
	}
	page := m.main
	if m.helping {
		page = m.help
	}
	page.Draw(c)
	if m.question != nil {
		m.question.Draw(c.Part(canvas.Rect{X: 0, Y: 1, W: c.W, H: c.H - 2}))
		m.question.Bar(c.Part(canvas.Rect{X: 0, Y: c.H - 1, W: c.W, H: 1}), m.state())
	}
	return c
}
