package session

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/playback"
	"trunnion/tuning/rig"
)

// Recorded is what a replay takes from a record: the events in order, each as
// its kind and payload, and the samples of the same connection.
type Recorded struct {
	Events  []RecordedEvent
	Samples bench.Trace
}

// RecordedEvent is an event as the record holds it.
type RecordedEvent struct {
	Kind    Kind
	Wall    time.Time
	Payload json.RawMessage
}

// NotReplayable says what a record lacks for a replay.
type NotReplayable struct{ Reason string }

func (e *NotReplayable) Error() string {
	return "this run cannot be replayed: " + e.Reason
}

// Replay runs the tasks of a recorded session through today's code, without a
// rig, and returns the calibration they give. On the same architecture, with
// the same version, it is the recorded one bit for bit. A task that the record
// ends in the middle of is replayed up to there and returns an error.
func Replay(ctx context.Context, r Recorded, listen func(Event)) (calibration.Document, error) {
	opening, calls, tasks, err := r.take()
	if err != nil {
		return calibration.Document{}, err
	}
	var description rig.Rig
	if err := json.Unmarshal(opening.Rig, &description); err != nil {
		return calibration.Document{}, &NotReplayable{"its rig description cannot be read: " + err.Error()}
	}
	play := playback.NewPlay(opening.Identity, calls, r.Samples)
	began := r.Events[0].Wall
	s, err := New(Config{
		Rig: description, Bench: play, Software: opening.Software, StandsAt: opening.StandsAt, Listen: listen,
		Now: func() time.Time { return began }, // a replay takes no time
	})
	if err != nil {
		return calibration.Document{}, err
	}
	if err := s.Arm(ctx); err != nil {
		return s.Document(), err
	}
	for _, t := range tasks {
		if err := s.RunTask(ctx, t.axis, t.task); err != nil {
			return s.Document(), fmt.Errorf("%s of %s: %w", t.task, description.Axes[t.axis].Name, err)
		}
	}
	return s.Document(), nil
}

// begun is a task that the record says was begun.
type begun struct {
	axis int
	task Task
}

// take sorts the events out.
func (r Recorded) take() (opening Opening, calls []playback.Call, tasks []begun, err error) {
	var description rig.Rig
	for _, e := range r.Events {
		var event Event
		switch e.Kind {
		case Opened, Called, Began:
			if err := json.Unmarshal(e.Payload, &event); err != nil {
				return opening, nil, nil, &NotReplayable{fmt.Sprintf("an event of kind %q cannot be read: %v", e.Kind, err)}
			}
		default:
			continue
		}
		switch e.Kind {
		case Opened:
			if err = json.Unmarshal(event.Data, &opening); err == nil {
				err = json.Unmarshal(opening.Rig, &description)
			}
		case Called:
			var c playback.Call
			err = json.Unmarshal(event.Data, &c)
			calls = append(calls, c)
		case Began:
			axis, ok := description.AxisNamed(event.Axis)
			if !ok {
				err = fmt.Errorf("there is no axis %q", event.Axis)
			}
			tasks = append(tasks, begun{axis, event.Task})
		}
		if err != nil {
			return opening, nil, nil, &NotReplayable{err.Error()}
		}
	}
	if len(opening.Rig) == 0 {
		return opening, nil, nil, &NotReplayable{"it holds no opening, so that the rig is not known"}
	}
	return opening, calls, tasks, nil
}
