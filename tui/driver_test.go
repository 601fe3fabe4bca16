package tui

import (
	"context"
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/stretchr/testify/require"

	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/glyph"
	"trunnion/tui/internal/scenes"
	"trunnion/tuning/calibration"
	"trunnion/tuning/session"
)

// fakeActions notes what it is asked for. RunTask and Run wait until their context
// ends, or release is closed.
type fakeActions struct {
	mu      sync.Mutex
	calls   []string
	fails   map[string]error
	release chan struct{}
	waiting atomic.Int32
}

func newFake() *fakeActions {
	return &fakeActions{fails: map[string]error{}, release: make(chan struct{})}
}

func (f *fakeActions) call(text string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls = append(f.calls, text)
	return f.fails[text]
}

func (f *fakeActions) said() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]string(nil), f.calls...)
}

func (f *fakeActions) Arm(context.Context) error   { return f.call("arm") }
func (f *fakeActions) Clear(context.Context) error { return f.call("clear") }
func (f *fakeActions) Stop(why string) error       { return f.call("stop: " + why) }
func (f *fakeActions) Park() error                 { return f.call("park") }
func (f *fakeActions) Document() calibration.Document {
	return calibration.Document{}
}

func (f *fakeActions) RunTask(ctx context.Context, axis int, task session.Task) error {
	return errors.Join(f.call("run "+scenes.Lift().Axes[axis].Name+", "+string(task)), f.wait(ctx))
}

func (f *fakeActions) Run(ctx context.Context) error {
	return errors.Join(f.call("run all"), f.wait(ctx))
}

func (f *fakeActions) wait(ctx context.Context) error {
	f.waiting.Add(1)
	defer f.waiting.Add(-1)
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-f.release:
		return nil
	}
}

// A session is what the console asks.
var _ Actions = (*session.Session)(nil)

// driver drives the real root model as Bubble Tea would, on a clock of its own.
type driver struct {
	t       testing.TB
	root    *root
	feed    *feed.Feed
	fake    *fakeActions
	at      time.Time
	player  *scenes.Player
	inbox   chan tea.Msg // from commands that take their time
	pending int
	quit    bool
}

// newDriver opens the console on a scene of some seconds' age.
func newDriver(t testing.TB, name string, g *glyph.Set, w, h int) *driver {
	s := scenes.Named(name)
	d := &driver{t: t, feed: feed.New(scenes.Lift()), fake: newFake(), at: scenes.Start, inbox: make(chan tea.Msg, 100)}
	d.root = newRoot(config{ctx: t.Context(), feed: d.feed, actions: d.fake, now: func() time.Time { return d.at }, glyphs: g})
	d.root.resize(w, h)
	d.player = scenes.Play(s, d.feed)
	d.root.focus = s.Focus
	d.root.focusMoved = d.at
	d.pass(6 * time.Second)
	return d
}

// pass lets time go by, with samples.
func (d *driver) pass(span time.Duration) {
	for end := d.at.Add(span); d.at.Before(end); {
		d.at = d.at.Add(40 * time.Millisecond)
		d.player.Step(4)
		d.frame()
	}
}

// silence lets time go by without samples.
func (d *driver) silence(span time.Duration) {
	for end := d.at.Add(span); d.at.Before(end); {
		d.at = d.at.Add(40 * time.Millisecond)
		d.frame()
	}
}

// frame is a tick less its own timer.
func (d *driver) frame() {
	d.do(d.root.look())
	d.do(d.root.mindPresence())
	d.settle()
}

// send hands a message to the root and carries out what comes of it.
func (d *driver) send(msg tea.Msg) {
	d.do(d.root.update(msg))
	d.settle()
}

// do carries out a command. Commands of the session run beside, as they do.
func (d *driver) do(cmd tea.Cmd) {
	if cmd == nil {
		return
	}
	d.pending++
	go func() { d.inbox <- cmd() }()
}

// settle takes what commands brought, until all are done or only waiting.
func (d *driver) settle() {
	for d.pending > int(d.fake.waiting.Load()) || len(d.inbox) > 0 {
		select {
		case msg := <-d.inbox:
			d.pending--
			d.took(msg)
		case <-time.After(time.Millisecond): // a task may have begun to wait
		}
	}
}

func (d *driver) took(msg tea.Msg) {
	switch msg := msg.(type) {
	case nil:
	case tea.QuitMsg:
		d.quit = true
	case tea.BatchMsg:
		for _, cmd := range msg {
			d.do(cmd)
		}
	default:
		d.do(d.root.update(msg))
	}
}

// press presses keys by their names, a while apart.
func (d *driver) press(names ...string) {
	for _, name := range names {
		d.pass(400 * time.Millisecond)
		d.send(key(name))
	}
}

func key(name string) tea.KeyMsg {
	switch name {
	case "enter":
		return tea.KeyMsg{Type: tea.KeyEnter}
	case "esc":
		return tea.KeyMsg{Type: tea.KeyEsc}
	case "tab":
		return tea.KeyMsg{Type: tea.KeyTab}
	case "space":
		return tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{' '}}
	case "ctrl+c":
		return tea.KeyMsg{Type: tea.KeyCtrlC}
	case "left":
		return tea.KeyMsg{Type: tea.KeyLeft}
	case "right":
		return tea.KeyMsg{Type: tea.KeyRight}
	case "up":
		return tea.KeyMsg{Type: tea.KeyUp}
	case "down":
		return tea.KeyMsg{Type: tea.KeyDown}
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(name)}
}

func (d *driver) screen() *canvas.Canvas { return d.root.frame() }

func (d *driver) text() string { return strings.Join(d.screen().Rows(), "\n") }

// shows requires a text on the screen.
func (d *driver) shows(parts ...string) {
	d.t.Helper()
	for _, p := range parts {
		require.Contains(d.t, d.text(), p)
	}
}

// until waits for a text that a goroutine brings about.
func (d *driver) until(part string) {
	d.t.Helper()
	for range 2000 {
		d.frame()
		if strings.Contains(d.text(), part) {
			return
		}
		time.Sleep(time.Millisecond)
	}
	require.Contains(d.t, d.text(), part)
}

func (d *driver) hides(parts ...string) {
	d.t.Helper()
	for _, p := range parts {
		require.NotContains(d.t, d.text(), p)
	}
}
