package feed

import (
	"encoding/json"
	"strings"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/session"
)

// take files one event. The lock is held.
func (f *Feed) take(e session.Event) {
	place := f.place(e)
	f.say(e, place)
	if e.Kind == session.State {
		f.state(e)
		return
	}
	if place == Nowhere {
		return
	}
	f.ownTasks(place.Axis)
	t := &f.axes[place.Axis].Tasks[place.Task]
	t.Revision = f.revision
	switch e.Kind {
	case session.Began:
		*t = Task{Status: Running, Revision: f.revision}
		f.running, f.stopText = place, ""
	case session.Ended:
		f.ended(t, e, place)
	case session.Kind(bench.Intends):
		t.Intends = e.Text
	case session.Kind(bench.Seen), session.Kind(bench.Decided):
		t.Learned = e.Text
	case session.Kind(bench.Progress):
		decode(e.Data, &t.Progress)
	case session.Kind(bench.Reading):
		t.reading(place.Name(), e.Data)
	case session.Kind(bench.Found):
		if len(t.Findings) < mostFindings {
			appendDecoded(&t.Findings, e.Data, mostFindings)
		}
	case session.Kind(bench.Result):
		f.result(t, e, place)
	}
}

// place is the task that an event belongs to.
func (f *Feed) place(e session.Event) Place {
	axis, known := f.index[e.Axis]
	task := TaskNumber(e.Task)
	if !known || task < 0 {
		return Nowhere
	}
	return Place{axis, task}
}

// ownTasks gives an axis tasks of its own again, since snapshots hold the ones
// that are there.
func (f *Feed) ownTasks(axis int) {
	f.axes[axis].Tasks = append([]Task(nil), f.axes[axis].Tasks...)
}

// say keeps the sentence of an event.
func (f *Feed) say(e session.Event, place Place) {
	if e.Text == "" || e.Kind == session.Kind(bench.Commanded) {
		return
	}
	f.lines = bounded(f.lines, Line{e.Wall, place, e.Kind, e.Text}, mostLines)
}

// state files an event of the rig's state.
func (f *Feed) state(e session.Event) {
	f.armed = e.Text == "armed"
	if f.armed || e.Text == "cleared" {
		f.stopText = ""
	}
	why, stopped := strings.CutPrefix(e.Text, "stopped: ")
	if !stopped {
		return
	}
	f.stopText = why
	if f.lastOver == Nowhere || e.Wall.Sub(f.overAt) > time.Second {
		return
	}
	// A stop may end the task a moment before it is told itself.
	f.ownTasks(f.lastOver.Axis)
	if t := &f.axes[f.lastOver.Axis].Tasks[f.lastOver.Task]; t.Status == Failed {
		t.Status, t.Revision = Stopped, f.revision
	}
}

// ended files the end of a task.
func (f *Feed) ended(t *Task, e session.Event, place Place) {
	var o session.Outcome
	decode(e.Data, &o)
	t.Progress = bench.Advance{}
	f.running, f.lastOver, f.overAt = Nowhere, place, e.Wall
	switch {
	case o.Done:
		t.Status = Done
	case f.stopText != "" || f.live.newest.State == bench.Stopped:
		t.Status, t.Trouble = Stopped, o.Error
	default:
		t.Status, t.Trouble = Failed, o.Error
	}
}

// result enters a result, and forgets what was built on the one before.
func (f *Feed) result(t *Task, e session.Event, place Place) {
	a := &f.axes[place.Axis]
	kept := a.Result
	if !enter(&kept, place.Name(), e.Data) {
		return
	}
	t.Summary = e.Text
	for later := place.Task + 1; later < len(a.Tasks); later++ {
		forget(&kept, session.Tasks()[later])
		a.Tasks[later] = Task{Revision: f.revision}
	}
	a.Result = kept
}

// enter decodes a task's result into its place and reports whether it could.
func enter(a *calibration.Axis, task session.Task, data json.RawMessage) bool {
	switch task {
	case session.Check:
		return decodeTo(&a.Check, data)
	case session.DeadBand:
		return decodeTo(&a.DeadBand, data)
	case session.Curve:
		return decodeTo(&a.Curve, data)
	case session.Fit:
		return decodeTo(&a.Fit, data)
	case session.Step:
		return decodeTo(&a.Step, data)
	case session.Gains:
		return decodeTo(&a.Gains, data)
	case session.Prove:
		return decodeTo(&a.Prove, data)
	}
	return false
}

func decodeTo[R any](at **R, data json.RawMessage) bool {
	r := new(R)
	if json.Unmarshal(data, r) != nil {
		return false
	}
	*at = r
	return true
}

// forget throws away one task's result.
func forget(a *calibration.Axis, task session.Task) {
	switch task {
	case session.Check:
		a.Check = nil
	case session.DeadBand:
		a.DeadBand = nil
	case session.Curve:
		a.Curve = nil
	case session.Fit:
		a.Fit = nil
	case session.Step:
		a.Step = nil
	case session.Gains:
		a.Gains = nil
	case session.Prove:
		a.Prove = nil
	}
}

// seed takes over results where there are none.
func (a *Axis) seed(from calibration.Axis) {
	r := a.Result
	fill(&r.Check, from.Check)
	fill(&r.DeadBand, from.DeadBand)
	fill(&r.Curve, from.Curve)
	fill(&r.Fit, from.Fit)
	fill(&r.Step, from.Step)
	fill(&r.Gains, from.Gains)
	fill(&r.Prove, from.Prove)
	a.Result = r
}

func fill[R any](at **R, from *R) {
	if *at == nil {
		*at = from
	}
}

// reading keeps a reading of the kind that the task takes.
func (t *Task) reading(task session.Task, data json.RawMessage) {
	switch task {
	case session.Check:
		// Bursts and jogs are told apart by their fields.
		var kind struct {
			Shaft *float64 `json:"shaft_turns"`
		}
		decode(data, &kind)
		if kind.Shaft != nil {
			appendDecoded(&t.Bursts, data, mostReadings)
		} else {
			appendDecoded(&t.Jogs, data, mostReadings)
		}
	case session.DeadBand:
		appendDecoded(&t.Tries, data, mostReadings)
	case session.Curve:
		appendDecoded(&t.Curve, data, mostReadings)
	case session.Step:
		appendDecoded(&t.Steps, data, mostReadings)
	case session.Prove:
		appendDecoded(&t.Proofs, data, mostReadings)
	}
}

func decode(data json.RawMessage, into any) { _ = json.Unmarshal(data, into) }

func appendDecoded[T any](list *[]T, data json.RawMessage, most int) {
	var v T
	if json.Unmarshal(data, &v) == nil {
		*list = bounded(*list, v, most)
	}
}

// bounded appends to a list and forgets the oldest quarter when it is full.
// Elements that a snapshot may hold are never written over.
func bounded[T any](list []T, v T, most int) []T {
	if len(list) >= most {
		list = append(make([]T, 0, most), list[most/4:]...)
	}
	return append(list, v)
}
