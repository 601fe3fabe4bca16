package session

import (
	"encoding/json"
	"fmt"
	"slices"

	"trunnion/tuning/bench"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/playback"
	"trunnion/tuning/proving"
	"trunnion/tuning/rig"
	"trunnion/tuning/step"
)

// readings are what an unfinished task has taken so far. A task that was
// interrupted goes on from them; one that was finished and is done anew does
// not.
type readings struct {
	tries    []deadband.Try
	sweep    []measure.Reading
	steps    []step.Taken
	closures []proving.Step
}

// add takes the data of a reading note.
func (r *readings) add(data any) {
	switch d := data.(type) {
	case deadband.Try:
		r.tries = append(r.tries, d)
	case measure.Reading:
		r.sweep = append(r.sweep, d)
	case step.Taken:
		r.steps = append(r.steps, d)
	case proving.Step:
		r.closures = append(r.closures, d)
	}
}

// RecordedEvent is an event as the record holds it.
type RecordedEvent struct {
	Kind    Kind
	Payload json.RawMessage
}

// Sitting is one opening of a record and what followed it, up to the next. An
// interrupted run that was gone on with has several.
type Sitting struct {
	Events  []RecordedEvent // beginning with the Opened one
	Samples bench.Trace     // of its connection
}

// NotReplayable says what a record lacks.
type NotReplayable struct{ Reason string }

func (e *NotReplayable) Error() string { return "this run cannot be gone on with: " + e.Reason }

// story is a sitting sorted out.
type story struct {
	opening     Opening
	description rig.Rig
	events      []Event
	calls       []playback.Call
	samples     bench.Trace
}

// sort takes a sitting apart.
func (s Sitting) sort() (story, error) {
	st := story{samples: s.Samples}
	for _, recorded := range s.Events {
		var e Event
		if err := json.Unmarshal(recorded.Payload, &e); err != nil {
			return st, &NotReplayable{fmt.Sprintf("an event of kind %q cannot be read: %v", recorded.Kind, err)}
		}
		e.Kind = recorded.Kind
		if err := st.take(e); err != nil {
			return st, &NotReplayable{fmt.Sprintf("an event of kind %q cannot be read: %v", e.Kind, err)}
		}
	}
	if len(st.opening.Rig) == 0 {
		return st, &NotReplayable{"it holds no opening, so that the rig is not known"}
	}
	return st, nil
}

// take puts an event where it belongs.
func (st *story) take(e Event) error {
	switch e.Kind {
	case Called:
		var c playback.Call
		err := json.Unmarshal(e.Data, &c)
		st.calls = append(st.calls, c)
		return err
	case Opened:
		if err := json.Unmarshal(e.Data, &st.opening); err != nil {
			return err
		}
		if err := json.Unmarshal(st.opening.Rig, &st.description); err != nil {
			return err
		}
	}
	st.events = append(st.events, e)
	return nil
}

// OtherRig says that a record belongs to another rig file.
type OtherRig struct{ Now, Then string }

func (e *OtherRig) Error() string {
	return fmt.Sprintf("the record was made with another rig file (hash %.12s, now %.12s): results would not belong together; start a new run", e.Then, e.Now)
}

// CheckRig refuses an earlier sitting that belongs to another rig. It is asked
// before anything is added to that sitting's record.
func CheckRig(earlier Sitting, r rig.Rig) error {
	st, err := earlier.sort()
	if err != nil {
		return err
	}
	if st.opening.RigHash != r.Hash() {
		return &OtherRig{Now: r.Hash(), Then: st.opening.RigHash}
	}
	return nil
}

// Restore takes over what an earlier sitting found: the results of finished
// tasks and the readings of an unfinished one. It is called once for each
// earlier sitting, in order, before Arm.
func (s *Session) Restore(earlier Sitting) error {
	st, err := earlier.sort()
	if err != nil {
		return err
	}
	if st.opening.RigHash != s.cfg.Rig.Hash() {
		return &OtherRig{Now: s.cfg.Rig.Hash(), Then: st.opening.RigHash}
	}
	for _, e := range st.events {
		if e.Kind == State && e.Text == stateArmed {
			s.restorePlace(e)
		}
		i := slices.IndexFunc(s.axes, func(w *axisWork) bool { return w.moves.Name == e.Axis })
		if i < 0 {
			continue
		}
		if err := s.axes[i].restore(e, st.samples); err != nil {
			return &NotReplayable{fmt.Sprintf("%s of %s: %v", e.Task, e.Axis, err)}
		}
	}
	return nil
}

// restorePlace takes over where the joints' travel is measured from, if the
// controller has not started anew since.
func (s *Session) restorePlace(e Event) {
	var a ArmedData
	s.earlierZeros = nil
	if json.Unmarshal(e.Data, &a) == nil && a.Boot == s.cfg.Bench.Identity().Boot {
		s.earlierZeros = a.Zeros
	}
}

// restore takes over one event of this axis.
func (w *axisWork) restore(e Event, samples bench.Trace) error {
	switch e.Kind {
	case Began:
		w.beginTask(e.Task)
	case Kind(bench.Found):
		var f finding.Finding
		if json.Unmarshal(e.Data, &f) == nil && f.Weight == finding.Grave {
			w.taken = readings{} // as when it was found
		}
	case Kind(bench.Reading):
		return w.restoreReading(e, samples)
	case Kind(bench.Result):
		return w.restoreResult(e)
	}
	return nil
}

func (w *axisWork) restoreReading(e Event, samples bench.Trace) error {
	switch e.Task {
	case DeadBand:
		return addDecoded[deadband.Try](&w.taken, e.Data)
	case Curve:
		return addDecoded[measure.Reading](&w.taken, e.Data)
	case Prove:
		return addDecoded[proving.Step](&w.taken, e.Data)
	case Step:
		var t step.Taken
		if err := json.Unmarshal(e.Data, &t); err != nil {
			return err
		}
		t.Trace = between(samples, t.First, t.Last)
		if len(t.Trace) < 2 {
			return fmt.Errorf("the samples of a step are not in the record")
		}
		w.taken.add(t)
	}
	return nil
}

// between are the samples from one sequence number to another.
func between(samples bench.Trace, first, last uint64) bench.Trace {
	from, _ := slices.BinarySearchFunc(samples, first, func(s bench.Sample, n uint64) int { return compare(s.Sequence, n) })
	to, _ := slices.BinarySearchFunc(samples, last+1, func(s bench.Sample, n uint64) int { return compare(s.Sequence, n) })
	return samples[from:to]
}

func compare(a, b uint64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func addDecoded[T any](r *readings, data json.RawMessage) error {
	var v T
	if err := json.Unmarshal(data, &v); err != nil {
		return err
	}
	r.add(v)
	return nil
}

// restoreResult takes over the result of a finished task.
func (w *axisWork) restoreResult(e Event) error {
	if !slices.Contains(Tasks(), e.Task) {
		return fmt.Errorf("there is no such task")
	}
	w.forget(e.Task)
	w.taken = readings{}
	return w.slot(e.Task).decode(e.Data)
}

// beginTask notes that a task begins: one that is finished already is done
// anew, without the old readings, and so is another task than the last.
func (w *axisWork) beginTask(task Task) {
	if w.has(task) || task != w.current {
		w.taken = readings{}
	}
	w.current = task
}

// know puts what the finished tasks found into the moves, as when they had just
// been done.
func (w *axisWork) know() {
	if w.done.Check != nil {
		w.moves.Known = w.done.Check.Known
	}
	if w.done.DeadBand != nil {
		w.moves.Known.Neutral = w.done.DeadBand.Neutral
	}
}
