// Package feed gathers what a session tells, for a screen to look at: events and
// samples go in from any goroutine, as they come; thirty times a second the
// screen takes a Snapshot.
//
//	f := feed.New(described)
//	f.Event(e)                   // from the session
//	f.Sample(s)                  // from the connection
//	view := f.Snapshot(now)      // from the screen
//
// Memory is bounded however long a sitting lasts. Putting something in costs some
// microseconds and waits for nothing but another putting-in or a snapshot. A
// Snapshot is a value: what it points to is never changed afterwards.
package feed

import (
	"sync"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// Bounds of what is kept.
const (
	mostLines    = 1000 // sentences, over all tasks
	mostReadings = 400  // of one task
	mostFindings = 50
)

// Feed gathers events and samples. Its methods may be called from any goroutine.
type Feed struct {
	rig   rig.Rig
	index map[string]int // axes by name

	mu       sync.Mutex
	revision uint64
	axes     []Axis
	lines    []Line
	running  Place
	armed    bool
	stopText string
	lastOver Place // the task that ended last, and when
	overAt   time.Time
	live     live
}

// New makes the feed of a rig.
func New(r rig.Rig) *Feed {
	f := &Feed{rig: r, index: map[string]int{}, axes: make([]Axis, len(r.Axes)), running: Nowhere, lastOver: Nowhere}
	for i, a := range r.Axes {
		f.index[a.Name] = i
		f.axes[i] = newAxis(a.Name)
	}
	f.live = newLive(r)
	return f
}

// Event takes an event of the session.
func (f *Feed) Event(e session.Event) {
	if e.Kind == session.Called {
		return // for the record only
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.revision++
	f.take(e)
}

// Sample takes a sample of the rig.
func (f *Feed) Sample(s bench.Sample) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.live.take(s)
	if s.State == bench.Stopped {
		f.armed = false
	}
}

// Seed takes over results from before, such as those of a calibration that is
// being gone on with. Axes are matched by name; what has been measured since
// stays.
func (f *Feed) Seed(d calibration.Document) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.revision++
	for _, a := range d.Axes {
		if i, known := f.index[a.Name]; known {
			f.axes[i].seed(a)
		}
	}
}

// Snapshot is how things stand. now is the screen's clock; it serves to count
// samples a second and to notice silence.
func (f *Feed) Snapshot(now time.Time) Snapshot {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := Snapshot{
		Rig: f.rig, Revision: f.revision, Running: f.running, Armed: f.armed, StopText: f.stopText,
		Lines: f.lines[:len(f.lines):len(f.lines)],
		Axes:  append([]Axis(nil), f.axes...),
	}
	f.live.snapshot(now, &s)
	return s
}

// Moving reports whether anything moves, or a task is under way.
func (f *Feed) Moving() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.running != Nowhere || f.live.newest.State == bench.Moving
}
