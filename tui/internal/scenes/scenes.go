// Package scenes plays moments of a sitting at the scenery lift into a feed, for
// tests and for looking at screens without a rig. Every number in it is invented.
package scenes

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"trunnion/fixtures/rigs"
	"trunnion/tui/feed"
	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/finding"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
)

// Start is when every scene starts, on the screen's clock.
var Start = time.Date(2026, 3, 14, 9, 26, 0, 0, time.UTC)

// Scene is a moment of a sitting.
type Scene struct {
	Name   string
	About  string
	Events func(*Teller) // what the session has told before
	Rig    func(t float64) Moment
	Focus  feed.Place
}

// Moment is what the rig does at a time.
type Moment struct {
	State   bench.State
	Cause   bench.Cause
	Neutral bool
	RPM     float64
	Pulse   [3]units.Pulse
	Ratio   [3]float64
}

// Lift is the rig of all scenes.
func Lift() rig.Rig {
	text, err := rigs.Text("lift")
	if err != nil {
		panic(err)
	}
	r, err := rig.Parse("lift.toml", text)
	if err != nil {
		panic(err)
	}
	return r
}

// Player plays a scene's samples, a hundred a second.
type Player struct {
	scene  Scene
	feed   *feed.Feed
	n      int
	counts [4]float64
}

// Play tells a scene's events and returns the player of its samples.
func Play(s Scene, f *feed.Feed) *Player {
	if s.Events != nil {
		s.Events(&Teller{feed: f, at: Start.Add(-2 * time.Minute)})
	}
	return &Player{scene: s, feed: f}
}

// Step plays the samples of so many hundredths of a second.
func (p *Player) Step(hundredths int) {
	for range hundredths {
		t := float64(p.n) / 100
		m := p.scene.Rig(t)
		s := bench.Sample{Sequence: uint64(p.n + 1), At: units.Instant(p.n * 10_000), State: m.State, Cause: m.Cause}
		if m.Neutral {
			s.Flags |= bench.NeutralKnown
		}
		if m.State == bench.Moving {
			s.Flags |= bench.DriveOn
		}
		p.counts[0] += 400 * m.RPM / 60 / 100
		s.Counters[0].Count = units.Counts(math.Round(p.counts[0]))
		for i := range m.Pulse {
			p.counts[i+1] += 1600 * m.Ratio[i] * m.RPM / 60 / 100
			s.Counters[i+1].Count = units.Counts(math.Round(p.counts[i+1]))
			s.Axes[i].Pulse = m.Pulse[i]
		}
		p.feed.Sample(s)
		p.n++
	}
}

// Teller tells events as a session would.
type Teller struct {
	feed *feed.Feed
	at   time.Time
	axis string
	task session.Task
}

// Event tells one event; the clock goes on by a second.
func (t *Teller) Event(kind session.Kind, text string, data any) {
	t.at = t.at.Add(time.Second)
	e := session.Event{Kind: kind, Wall: t.at, Axis: t.axis, Task: t.task, Text: text}
	if data != nil {
		raw, err := json.Marshal(data)
		if err != nil {
			panic(err)
		}
		e.Data = raw
	}
	t.feed.Event(e)
}

// Note tells what a procedure would.
func (t *Teller) Note(kind bench.Kind, text string, data any) {
	t.Event(session.Kind(kind), text, data)
}

// State tells of the rig's state.
func (t *Teller) State(text string) { t.Event(session.State, text, nil) }

// Begin begins a task.
func (t *Teller) Begin(axis string, task session.Task) {
	t.axis, t.task = axis, task
	t.Event(session.Began, fmt.Sprintf("%s of %s", task, axis), nil)
}

// Done ends a task with its result.
func (t *Teller) Done(summary string, result any) {
	t.Note(bench.Result, summary, result)
	t.Event(session.Ended, "", session.Outcome{Done: true})
	t.axis, t.task = "", ""
}

// Failed ends a task without one.
func (t *Teller) Failed(why string) {
	t.Event(session.Ended, why, session.Outcome{Error: why})
	t.axis, t.task = "", ""
}

// Find tells of a finding.
func (t *Teller) Find(f finding.Finding) {
	t.Note(bench.Found, string(f.Name)+": "+f.Evidence, f)
}

// All tells all results of an axis.
func (t *Teller) All(a calibration.Axis) {
	for _, r := range []struct {
		task   session.Task
		result any
		known  bool
	}{
		{session.Check, a.Check, a.Check != nil}, {session.DeadBand, a.DeadBand, a.DeadBand != nil}, {session.Curve, a.Curve, a.Curve != nil},
		{session.Fit, a.Fit, a.Fit != nil}, {session.Step, a.Step, a.Step != nil}, {session.Gains, a.Gains, a.Gains != nil}, {session.Prove, a.Prove, a.Prove != nil},
	} {
		if r.known {
			t.Begin(a.Name, r.task)
			t.Done(fmt.Sprintf("%s of %s is done", r.task, a.Name), r.result)
		}
	}
}
