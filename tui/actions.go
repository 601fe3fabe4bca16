package tui

import (
	"context"
	"fmt"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"trunnion/tui/feed"
	"trunnion/tuning/calibration"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// Actions is what the console may ask of a session; *session.Session is one. Calls
// come from goroutines of their own and may take as long as they need. Stop and
// Park may come while any other is under way, and have their own deadlines.
type Actions interface {
	// Arm gives leave to move, until a stop.
	Arm(context.Context) error
	// RunTask runs one task of one axis and parks.
	RunTask(ctx context.Context, axis int, task session.Task) error
	// Run runs all tasks of all axes that have no result yet.
	Run(context.Context) error
	// Stop stops the rig at once, latched.
	Stop(why string) error
	// Clear takes the latch off.
	Clear(context.Context) error
	// Park brings everything to rest.
	Park() error
	// Document is the calibration as far as it has come.
	Document() calibration.Document
}

// Feed takes what happens and holds it for the screen; see package feed.
type Feed = feed.Feed

// NewFeed makes the feed of a rig.
func NewFeed(r rig.Rig) *Feed { return feed.New(r) }

// acted tells that something asked for is done.
type acted struct {
	what what
	err  error
}

// what was asked for.
type what uint8

const (
	arming what = iota
	running
	stopping
	clearing
	parking
	quitting
	waiting // for the running task to end, when quitting
)

// words are what the person is told while it is under way.
var words = map[what]string{arming: "arming", clearing: "clearing the stop", parking: "parking", quitting: "parking and quitting"}

// command makes a command of an action. A panic in it becomes its error, since one
// in a goroutine of the event loop would end the program with nothing made safe.
func command(w what, action func() error) tea.Cmd {
	return func() (msg tea.Msg) {
		defer func() {
			if r := recover(); r != nil {
				msg = acted{w, fmt.Errorf("a fault in the program itself: %v", r)}
			}
		}()
		return acted{w, action()}
	}
}

// after is a command that reports later.
func after(w what, d time.Duration) tea.Cmd {
	return tea.Tick(d, func(time.Time) tea.Msg { return acted{what: w} })
}

// Unattended is the cause with which a run ends when nobody has pressed a key for
// long.
type Unattended struct{ For time.Duration }

func (e *Unattended) Error() string {
	return fmt.Sprintf("no key was pressed for %.0f minutes, so everything was parked; stay with a rig that moves, or say at the start that it may be left", e.For.Minutes())
}

// Left is the cause with which a run ends when the person quits.
type Left struct{}

func (*Left) Error() string { return "ended by quitting; run the task again" }
