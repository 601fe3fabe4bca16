package session

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"trunnion/tuning/calibration"
	"trunnion/tuning/playback"
)

// Replay runs the tasks of a recorded run through today's code, without a rig,
// and returns the calibration they give. On the same architecture, with the same
// version, it is the recorded one bit for bit. A run that was interrupted and
// gone on with has several sittings; a task that the record shows interrupted is
// replayed up to there.
func Replay(ctx context.Context, sittings []Sitting, listen func(Event)) (calibration.Document, error) {
	if len(sittings) == 0 {
		return calibration.Document{}, &NotReplayable{"it holds no opening, so that the rig is not known"}
	}
	var document calibration.Document
	for i := range sittings {
		var err error
		if document, err = replaySitting(ctx, sittings[:i], sittings[i], listen); err != nil {
			return document, err
		}
	}
	return document, nil
}

// replaySitting replays one sitting after what the earlier ones found.
func replaySitting(ctx context.Context, earlier []Sitting, sitting Sitting, listen func(Event)) (calibration.Document, error) {
	st, err := sitting.sort()
	if err != nil {
		return calibration.Document{}, err
	}
	s, err := New(Config{
		Rig: st.description, Bench: playback.NewPlay(st.opening.Identity, st.calls, st.samples), Software: st.opening.Software,
		StandsAt: st.opening.StandsAt, Listen: listen, Now: func() time.Time { return time.Time{} }, // a replay takes no time
	})
	if err != nil {
		return calibration.Document{}, err
	}
	for _, e := range earlier {
		if err := s.Restore(e); err != nil {
			return s.Document(), err
		}
	}
	for _, t := range st.acts() {
		if t.task == "" {
			if err := s.Arm(ctx); err != nil {
				return s.Document(), err
			}
			continue
		}
		axis, ok := st.description.AxisNamed(t.axis)
		if !ok {
			return s.Document(), &NotReplayable{fmt.Sprintf("there is no axis %q", t.axis)}
		}
		if err := s.RunTask(ctx, axis, t.task); err != nil && t.done {
			return s.Document(), fmt.Errorf("%s of %s: %w", t.task, t.axis, err)
		}
	}
	return s.Document(), nil
}

// act is a task that the record says was begun, and whether it was finished; an
// act without a task is the arming of the rig.
type act struct {
	axis string
	task Task
	done bool
}

// acts lists what the person did in a sitting.
func (st story) acts() []act {
	var list []act
	for _, e := range st.events {
		switch e.Kind {
		case State:
			if e.Text == stateArmed {
				list = append(list, act{})
			}
		case Began:
			list = append(list, act{axis: e.Axis, task: e.Task})
		case Ended:
			var o Outcome
			if n := len(list); n > 0 && json.Unmarshal(e.Data, &o) == nil {
				list[n-1].done = o.Done
			}
		}
	}
	return list
}
