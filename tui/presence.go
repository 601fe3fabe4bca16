package tui

import (
	"time"

	tea "github.com/charmbracelet/bubbletea"
)

// Motion needs somebody watching. A key every few minutes shows that; without one
// a run is ended and everything parked, with a warning before.
const (
	presenceTime = 5 * time.Minute
	warningTime  = time.Minute
)

// alone is how long until everything is parked for want of a key; 0 while that is
// not soon, or not wanted, or nothing runs.
func (m *root) alone() time.Duration {
	if m.unattended || m.runs == 0 {
		return 0
	}
	left := presenceTime - m.now().Sub(m.touched)
	if left > warningTime {
		return 0
	}
	return max(left, 1)
}

// mindPresence ends a run that nobody watches.
func (m *root) mindPresence() tea.Cmd {
	if m.alone() != 1 || m.endRun == nil {
		return nil
	}
	m.endRun(&Unattended{For: presenceTime})
	m.endRun = nil
	return m.act(parking, m.actions.Park)
}
