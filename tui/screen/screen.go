// Package screen says what a screen is, and what it is told.
package screen

import (
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"trunnion/tui/canvas"
	"trunnion/tui/feed"
	"trunnion/tui/keys"
)

// Screen is a page of the console. It draws on what it is handed and keeps no
// clock, terminal or session; what it wants done it reports as a message, and the
// root decides. It belongs to the event loop.
type Screen interface {
	// SetSize tells how large the canvas of Draw will be.
	SetSize(w, h int)
	// Update takes a message: Tick, Press, or what the screen's own commands found.
	Update(tea.Msg) (Screen, tea.Cmd)
	// Draw draws the whole canvas. It works on nothing but strings and signs.
	Draw(*canvas.Canvas)
}

// Tick is how things stand, told thirty times a second.
type Tick struct {
	Now     time.Time
	Feed    feed.Snapshot
	Numbers feed.Snapshot // the same, as it was when numbers were last refreshed
	Focus   feed.Place
	Keys    keys.State
	Notice  Notice
	Alone   time.Duration // until the rig is parked for want of a key; 0 is not soon
}

// Notice is something to tell the person once, such as why a key did nothing.
type Notice struct {
	Text    string
	Trouble bool
}

// Press is a key that the root leaves to the screen.
type Press struct{ Intent keys.Intent }

// Done is a screen's wish to be left.
type Done struct{}
