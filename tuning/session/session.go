// Package session is the one engine under the console and the headless run: it
// arms the rig, runs tasks in order, holds their results, and turns everything
// into one stream of events that screen, output and record share, so that what
// was shown and what was recorded cannot differ.
//
// A Session is made with New, fed with samples by Observe, and runs one task at
// a time. Stop may be called from any goroutine at any time. Events are handed
// to Config.Listen in order, after they are in the record; a result, reading or
// finding is synced there first.
//
// The package has no clock and no files: both come in through Config.
package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/moves"
	"trunnion/tuning/playback"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

// Rig is what a session drives.
type Rig interface {
	bench.Bench
	bench.Safety
}

// Record keeps events and samples; tuning/logbook's writer is one.
type Record interface {
	Append(kind string, wall time.Time, payload json.RawMessage, durable bool) (uint64, error)
	WriteSample(bench.Sample) error
}

// StandsAt says how far joints stand from their datum, by name, in the joint's
// unit. Of a joint that is not in it only what is free at the start may be used.
type StandsAt map[string]float64

// UnknownJoint is a StandsAt of a joint that the rig does not have.
type UnknownJoint struct{ Name string }

func (e *UnknownJoint) Error() string {
	return fmt.Sprintf("the rig file has no joint %q to stand anywhere; use a name it has", e.Name)
}

// OutsideTravel is a StandsAt outside the travel of its joint.
type OutsideTravel struct {
	Joint rig.Joint
	At    float64
}

func (e *OutsideTravel) Error() string {
	return fmt.Sprintf("%s is said to stand at %g %s, outside its travel of %g to %g; bring it inside by hand, with the drive off, or read it again",
		e.Joint.Name, e.At, e.Joint.Unit, e.Joint.Travel.Least, e.Joint.Travel.Most)
}

// check compares the places with the rig.
func (p StandsAt) check(r rig.Rig) error {
	for name, at := range p {
		j := slices.IndexFunc(r.Joints, func(j rig.Joint) bool { return j.Name == name })
		if j < 0 {
			return &UnknownJoint{name}
		}
		if joint := r.Joints[j]; !joint.Endless && !joint.Travel.Contains(at) {
			return &OutsideTravel{joint, at}
		}
	}
	return nil
}

// Config of a session.
type Config struct {
	Rig      rig.Rig
	Bench    Rig
	Record   Record           // nil keeps none
	Now      func() time.Time // wall clock, for the record only
	Software string           // name and version of the program
	StandsAt StandsAt         // where joints stand when the rig is armed, as read off the machine
	Listen   func(Event)      // nil is nobody; it must return soon
}

// Session is one sitting at one rig.
type Session struct {
	cfg          Config
	bench        bench.Bench // recorded
	zeros        []rig.Zero  // of the joints, once they are placed
	earlierZeros []rig.Zero  // of an earlier sitting whose counts the controller still has
	axes         []*axisWork
	watch        standstill

	control sync.Mutex // over what a stop needs; never held during input, output or a callback
	armed   bool       // the person's leave to move, until a stop
	cancel  context.CancelCauseFunc

	mu      sync.Mutex // over what follows
	number  uint64
	at      units.Instant // the newest that a call told of the controller's clock
	failure error         // of the record
	axis    string
	task    Task
}

// axisWork is what is known of one axis.
type axisWork struct {
	moves   *moves.Axis
	done    calibration.Axis
	current Task
	taken   readings // of the current task, as long as it is not finished
}

// ErrNotArmed says that a task was asked for before Arm.
var ErrNotArmed = errors.New("the rig is not armed: nothing moves before it is armed on purpose")

// New opens a session. It compares the rig description with the controller and
// refuses a controller that cannot serve it.
func New(cfg Config) (*Session, error) {
	identity := cfg.Bench.Identity()
	if err := rig.Check(cfg.Rig, identity); err != nil {
		return nil, err
	}
	if err := cfg.StandsAt.check(cfg.Rig); err != nil {
		return nil, err
	}
	s := &Session{cfg: cfg}
	if s.cfg.Listen == nil {
		s.cfg.Listen = func(Event) {}
	}
	s.bench = playback.Recorded(cfg.Bench, s.called)
	description, err := json.Marshal(cfg.Rig)
	if err != nil {
		return nil, err
	}
	for i := range cfg.Rig.Axes {
		ax, err := s.axisMoves(i)
		if err != nil {
			return nil, err
		}
		w := &axisWork{moves: ax, done: calibration.Axis{Name: ax.Name}}
		ax.Report = func(n bench.Note) {
			s.emit(Kind(n.Kind), n.Text, n.Data)
			if n.Kind == bench.Reading {
				w.taken.add(n.Data)
			}
		}
		for k, other := range cfg.Rig.Axes {
			if feedback, ok := cfg.Rig.Feedback(k); ok && k != i {
				ax.Others = append(ax.Others, moves.Other{Name: other.Name, Sensor: measure.Sensor{Counter: feedback.Counter, PerTurn: math.Abs(feedback.CountsPerTurn)}})
			}
		}
		s.axes = append(s.axes, w)
	}
	s.emit(Opened, fmt.Sprintf("rig %q with %d axes, controller %q", cfg.Rig.Name, len(cfg.Rig.Axes), identity.Name), Opening{
		Software: cfg.Software, RigHash: cfg.Rig.Hash(), Rig: description, Identity: identity, StandsAt: cfg.StandsAt,
	})
	return s, s.failed()
}

// Observe takes every sample, in order: it is recorded here, and a standstill of
// what must turn ends the task with a finding. It is called by the connection and must not call back into it.
func (s *Session) Observe(sample bench.Sample) {
	if s.cfg.Record != nil {
		if err := s.cfg.Record.WriteSample(sample); err != nil {
			s.fail(err)
		}
	}
	if f := s.watch.see(&sample); f != nil {
		s.endTask(&finding.Error{Finding: *f})
	}
}

// Arm is the person's leave to move, given on purpose: nothing moves before it.
// It sets the limits and arms the rig once, to see that it can. Every task parks
// the rig at its end, which makes it safe; the next one arms it again, until a
// stop takes the leave away.
func (s *Session) Arm(ctx context.Context) error {
	if err := s.setLimits(ctx); err != nil {
		return err
	}
	if err := s.cfg.Bench.Arm(ctx); err != nil {
		return err
	}
	s.setArmed(true)
	s.emit(State, stateArmed, ArmedData{Boot: s.cfg.Bench.Identity().Boot, Zeros: s.zeros})
	return s.failed()
}

// Disarm takes the leave to move away and parks.
func (s *Session) Disarm() error {
	s.setArmed(false)
	return s.Park()
}

// Armed reports whether tasks may move the rig.
func (s *Session) Armed() bool {
	s.control.Lock()
	defer s.control.Unlock()
	return s.armed
}

func (s *Session) setArmed(yes bool) {
	s.control.Lock()
	defer s.control.Unlock()
	s.armed = yes
}

// setLimits tells the controller the rig file's pulse limits, and the travel
// limits from the datum or from where the joints stand.
func (s *Session) setLimits(ctx context.Context) error {
	for i, a := range s.cfg.Rig.Axes {
		if err := s.axes[i].setLimits(ctx, s.bench, a); err != nil {
			return err
		}
	}
	if s.zeros == nil {
		if err := s.place(ctx); err != nil {
			return err
		}
	}
	return s.bench.SetTravelLimits(ctx, s.cfg.Rig.TravelLimits(s.cfg.Rig.Bounds(s.zeros))...)
}

// place finds where the joints' travel is measured from. It is done once: later
// the joints stand elsewhere, and the counts know it. What an earlier sitting
// found holds as long as the controller has kept its counts; then only a joint
// without a datum can still be told where it stands.
func (s *Session) place(ctx context.Context) error {
	trace, err := s.bench.Watch(ctx, bench.Until{Met: func(bench.Sample) bool { return true }})
	if err != nil {
		return err
	}
	counts := rig.CountsOf(trace.Last())
	s.zeros = s.cfg.Rig.Standing(counts)
	if len(s.earlierZeros) == len(s.zeros) {
		copy(s.zeros, s.earlierZeros)
	}
	for j, joint := range s.cfg.Rig.Joints {
		if at, told := s.cfg.StandsAt[joint.Name]; told && !s.zeros[j].Datum {
			s.zeros[j] = s.cfg.Rig.DatumFrom(j, counts, at)
		}
	}
	return nil
}

// setLimits tells the controller the pulse limits and, where they are known from
// an earlier sitting, the tighter ones and the neutral.
func (w *axisWork) setLimits(ctx context.Context, b bench.Bench, a rig.Axis) error {
	limits := a.Pulse.Limits()
	if c := w.done.Check; c != nil {
		limits.Least, limits.Most = c.PulseLeast, c.PulseMost
	}
	if err := b.SetPulseLimits(ctx, a.Servo, limits); err != nil {
		return err
	}
	if w.know(); w.done.Check != nil {
		return b.SetNeutral(ctx, a.Servo, w.moves.Known.Neutral)
	}
	return nil
}

// Stop stops the rig at once, latched, and ends the running task. The stop goes
// out before anything else: it waits neither for the record's disk nor for
// whoever listens.
func (s *Session) Stop(why string) error {
	err := s.cfg.Bench.Stop()
	s.setArmed(false)
	s.endTask(&Stopped{Why: why})
	s.emit(State, "stopped: "+why, nil)
	return err
}

// Clear takes the latch off. The rig is safe, not armed, afterwards.
func (s *Session) Clear(ctx context.Context) error {
	if err := s.cfg.Bench.Clear(ctx); err != nil {
		return err
	}
	s.emit(State, "cleared", nil)
	return s.failed()
}

// Park brings everything to rest.
func (s *Session) Park() error {
	err := s.cfg.Bench.Park()
	s.emit(State, "parked", nil)
	return err
}

// Stopped says that a task ended because somebody or something stopped it.
type Stopped struct{ Why string }

func (e *Stopped) Error() string { return "stopped: " + e.Why }

// Document is the calibration as far as it has come.
func (s *Session) Document() calibration.Document {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := calibration.New(s.cfg.Rig.Name, s.cfg.Rig.Hash(), s.cfg.Software)
	for _, a := range s.axes {
		d.Axes = append(d.Axes, a.done)
	}
	return d
}

// Axes lists the names of the axes in the order of the rig file.
func (s *Session) Axes() []string {
	names := make([]string, len(s.axes))
	for i, a := range s.axes {
		names[i] = a.moves.Name
	}
	return names
}

// called records a call of the bench.
func (s *Session) called(c playback.Call) {
	s.mu.Lock()
	s.at = max(s.at, c.At)
	s.mu.Unlock()
	s.emit(Called, "", c)
}

// emit records an event and hands it on. A record that fails ends the task.
func (s *Session) emit(kind Kind, text string, data any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	e := Event{Kind: kind, At: s.at, Axis: s.axis, Task: s.task, Text: text, Wall: s.cfg.Now()}
	if data != nil {
		raw, err := json.Marshal(data)
		if err != nil {
			s.failLocked(fmt.Errorf("session: event %q cannot be stored: %w", kind, err))
			return
		}
		e.Data = raw
	}
	s.number++
	e.Sequence = s.number
	if s.cfg.Record != nil && s.failure == nil {
		payload, err := json.Marshal(e)
		if err == nil {
			e.Sequence, err = s.cfg.Record.Append(string(kind), e.Wall, payload, kind.durable())
		}
		if err != nil {
			s.failLocked(err)
			if kind.durable() {
				return // what is not in the record is not shown as done
			}
		}
	}
	s.cfg.Listen(e)
}

// fail keeps the first failure of the record and ends the running task.
func (s *Session) fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.failLocked(err)
}

func (s *Session) failLocked(err error) {
	if s.failure == nil {
		s.failure = err
	}
	s.endTask(err)
}

func (s *Session) failed() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.failure
}

func (s *Session) endTask(cause error) {
	s.control.Lock()
	defer s.control.Unlock()
	if s.cancel != nil {
		s.cancel(cause)
	}
}
