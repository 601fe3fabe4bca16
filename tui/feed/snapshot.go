package feed

import (
	"slices"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/check"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/proving"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
	"trunnion/tuning/step"
)

// Place is a task of an axis, both by number.
type Place struct{ Axis, Task int }

// Nowhere is no task.
var Nowhere = Place{-1, -1}

// Name is the task's name.
func (p Place) Name() session.Task {
	if p.Task < 0 {
		return ""
	}
	return session.Tasks()[p.Task]
}

// TaskNumber is a task's place in bench order; -1 if there is none of that name.
func TaskNumber(t session.Task) int { return slices.Index(session.Tasks(), t) }

// Snapshot is how things stood at one moment.
type Snapshot struct {
	Rig      rig.Rig
	Revision uint64 // changes with every event
	Running  Place
	Armed    bool   // the person armed the rig, and nothing has stopped it since
	StopText string // why it was stopped; empty where it was not
	Lines    []Line // oldest first
	Axes     []Axis

	Seen   bool         // there was a sample
	Sample bench.Sample // the newest
	Link   Link
	Drive  float64 // rpm over the last half second
	Moves  []Motion
	Sweep  Sweep
}

// Task is a task of the snapshot.
func (s *Snapshot) Task(p Place) *Task { return &s.Axes[p.Axis].Tasks[p.Task] }

// Link is how the connection does.
type Link struct {
	PerSecond float64       // samples
	Lost      uint64        // samples, since the connection began
	Silent    time.Duration // since the last sample
}

// Motion is an axis as it moves now.
type Motion struct {
	Ratio   float64 // over the last half second; meaningless unless Turning
	Turning bool    // the drive shaft turned enough to tell
}

// Line is a sentence of the session.
type Line struct {
	At    time.Time
	Place Place
	Kind  session.Kind
	Text  string
}

// Status of a task.
type Status uint8

// A task was never tried, is under way, or ended in one of three ways. Whether it
// has a result is another matter: one that fails keeps the result of before.
const (
	Fresh Status = iota
	Running
	Done
	Failed
	Stopped
)

// Axis is what is known of an axis.
type Axis struct {
	Name   string
	Result calibration.Axis
	Tasks  []Task // one a task, in bench order
}

func newAxis(name string) Axis {
	return Axis{Name: name, Result: calibration.Axis{Name: name}, Tasks: make([]Task, len(session.Tasks()))}
}

// Has reports whether a task has a result.
func (a *Axis) Has(task int) bool {
	r := &a.Result
	return [...]bool{r.Check != nil, r.DeadBand != nil, r.Curve != nil, r.Fit != nil, r.Step != nil, r.Gains != nil, r.Prove != nil}[task]
}

// Next is the first task without a result; -1 if all have one.
func (a *Axis) Next() int {
	for t := range a.Tasks {
		if !a.Has(t) {
			return t
		}
	}
	return -1
}

// Findings are those of a task's result or, while it runs, those so far.
func (a *Axis) Findings(task int) []finding.Finding {
	if a.Tasks[task].Status == Running || !a.Has(task) {
		return a.Tasks[task].Findings
	}
	switch r := &a.Result; session.Tasks()[task] {
	case session.Check:
		return r.Check.Findings
	case session.DeadBand:
		return r.DeadBand.Findings
	case session.Fit:
		return r.Fit.Findings
	case session.Step:
		return r.Step.Findings
	case session.Prove:
		return r.Prove.Findings
	}
	return nil
}

// Task is how a task goes or went. Readings are of the kind that the task takes;
// they stay after its end.
type Task struct {
	Status   Status
	Revision uint64 // changes with every event of the task
	Trouble  string // the error that ended it
	Intends  string // what it said last that it is about to do
	Learned  string // what it saw or decided last
	Summary  string // of its result
	Progress bench.Advance
	Findings []finding.Finding

	Bursts []check.Burst
	Jogs   []check.Jog
	Tries  []deadband.Try
	Curve  []measure.Reading
	Steps  []step.Taken
	Proofs []proving.Step
}
