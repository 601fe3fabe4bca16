package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"slices"

	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/check"
	"trunnion/tuning/curve"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/gains"
	"trunnion/tuning/measure"
	"trunnion/tuning/proving"
	"trunnion/tuning/rig"
	"trunnion/tuning/step"
	"trunnion/tuning/units"
	"trunnion/tuning/variator"
)

// NeedsFirst says that a task was asked for before the one it builds on.
type NeedsFirst struct{ Task, First Task }

func (e *NeedsFirst) Error() string {
	return fmt.Sprintf("%s needs %s first: run it, then come back", e.Task, e.First)
}

// RunTask runs one task of one axis and parks the rig. A task that cannot begin
// or that was ended from outside returns an error; its events say so too.
func (s *Session) RunTask(ctx context.Context, axis int, task Task) (err error) {
	if axis < 0 || axis >= len(s.axes) || !slices.Contains(Tasks(), task) {
		return fmt.Errorf("session: there is no task %q of axis %d", task, axis)
	}
	if err := s.failed(); err != nil {
		return err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	s.begin(s.axes[axis].moves.Name, task, cancel)
	defer s.end()
	defer cancel(nil)
	s.emit(Began, fmt.Sprintf("%s of %s", task, s.axes[axis].moves.Name), nil)
	defer func() {
		if r := recover(); r != nil {
			err = s.panicked(r)
		}
		err = s.ended(ctx, err)
	}()
	w := s.axes[axis]
	if err := w.ready(task); err != nil {
		return err
	}
	w.beginTask(task)
	w.know()
	s.watch.begin(s.axes)
	if task.Moves() {
		if err := s.makeReady(ctx, axis); err != nil {
			return err
		}
	}
	return s.runTask(ctx, axis, task)
}

// makeReady arms the rig, engages the axis where a selector must, and sees that
// every other output stands: one whose neutral nobody knows yet is first brought
// to a pulse at which it does, since it shares the drive.
func (s *Session) makeReady(ctx context.Context, axis int) error {
	if err := s.rearm(ctx); err != nil {
		return err
	}
	for i, w := range s.axes {
		if i == axis {
			continue
		}
		if s.cfg.Rig.Drive.Selector {
			continue // it is not engaged
		}
		if err := check.Hold(ctx, w.moves); err != nil {
			return fmt.Errorf("before %s can be worked at, %s must stand: %w", s.axes[axis].moves.Name, w.moves.Name, err)
		}
	}
	if s.cfg.Rig.Drive.Selector {
		if _, err := s.bench.Select(ctx, s.axes[axis].moves.Servo); err != nil {
			return err
		}
	}
	return nil
}

// rearm arms the rig for a task, if the person gave leave.
func (s *Session) rearm(ctx context.Context) error {
	if !s.Armed() {
		return ErrNotArmed
	}
	if err := s.cfg.Bench.Park(); err != nil { // from armed to safe, so that it can be armed
		return err
	}
	return s.cfg.Bench.Arm(ctx)
}

// begin and end mark the task to which events belong.
func (s *Session) begin(axis string, task Task, cancel context.CancelCauseFunc) {
	s.control.Lock()
	s.cancel = cancel
	s.control.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.axis, s.task = axis, task
}

func (s *Session) end() { s.begin("", "", nil) }

// panicked stops the rig after a panic in a task and turns it into an error.
func (s *Session) panicked(r any) error {
	s.setArmed(false)
	stopErr := s.cfg.Bench.Stop()
	err := fmt.Errorf("session: a fault in the program itself: %v; the rig was stopped", r)
	if stopErr != nil {
		err = fmt.Errorf("%w (and the stop was not answered: %w)", err, stopErr)
	}
	s.emit(State, err.Error(), map[string]string{"stack": string(debug.Stack())})
	return err
}

// ended parks after an error, finds out what really ended the task, and says so.
func (s *Session) ended(ctx context.Context, err error) error {
	if err != nil {
		parked := s.cfg.Bench.Park()
		if cause := context.Cause(ctx); cause != nil && ctx.Err() != nil {
			err = cause
		}
		if failure := s.failed(); failure != nil {
			err = failure
		}
		if parked != nil && !sameTrouble(err, parked) {
			err = fmt.Errorf("%w (and parking was not answered: %w)", err, parked)
		}
		var stopped *bench.StoppedError
		if errors.As(err, &stopped) {
			s.setArmed(false)
		}
		var fault *finding.Error
		if errors.As(err, &fault) { // the machine will be changed, so what was read of it is void
			s.discardTaken()
			s.emit(Kind(bench.Found), string(fault.Finding.Name)+": "+fault.Finding.Evidence, fault.Finding)
		}
		s.emit(Ended, err.Error(), Outcome{Error: err.Error()})
		return err
	}
	s.emit(Ended, "", Outcome{Done: true})
	return s.failed()
}

// sameTrouble reports whether a second error tells nothing that the first has
// not told: the same words, or a controller that was silent before.
func sameTrouble(first, second error) bool {
	var a, b *bench.SilentError
	return first.Error() == second.Error() || errors.As(first, &a) && errors.As(second, &b)
}

// discardTaken throws away the readings of the task that just ended.
func (s *Session) discardTaken() {
	for _, w := range s.axes {
		w.taken = readings{}
	}
}

// runTask is the table of tasks.
func (s *Session) runTask(ctx context.Context, axis int, task Task) error {
	w := s.axes[axis]
	switch task {
	case Check:
		return finish(s, w, task, &w.done.Check, summariseCheck)(check.Run(ctx, w.moves))
	case DeadBand:
		return finish(s, w, task, &w.done.DeadBand, summariseDeadBand)(deadband.Run(ctx, w.moves, s.deadBandSettings(w)))
	case Curve:
		return finish(s, w, task, &w.done.Curve, summariseCurve)(curve.Run(ctx, w.moves, curveSettings(w)))
	case Fit:
		return finish(s, w, task, &w.done.Fit, summariseFit)(fit(w, s.cfg.Rig.Axes[axis], s.cfg.Rig.Goals.CurvePercent))
	case Step:
		return finish(s, w, task, &w.done.Step, summariseStep)(step.Run(ctx, w.moves, stepSettings(w)))
	case Gains:
		return finish(s, w, task, &w.done.Gains, s.summariseGains(axis))(gains.Design(s.gainsSettings(axis)))
	case Prove:
		return finish(s, w, task, &w.done.Prove, summariseProve)(proving.Run(ctx, w.moves, s.proveSettings(axis)))
	}
	return fmt.Errorf("session: there is no task %q", task)
}

// ready reports what must be done before a task can be. A task done anew throws
// away what was built on it before.
func (w *axisWork) ready(task Task) error {
	tasks := Tasks()
	at := slices.Index(tasks, task)
	for _, earlier := range tasks[:max(at, 0)] {
		if !w.has(earlier) {
			return &NeedsFirst{task, earlier}
		}
	}
	return nil
}

// slot is the place of one task's result.
type slot struct {
	full   bool
	clear  func()
	decode func(json.RawMessage) error
}

func slotOf[R any](place **R) slot {
	return slot{
		full:  *place != nil,
		clear: func() { *place = nil },
		decode: func(data json.RawMessage) error {
			result := new(R)
			if err := json.Unmarshal(data, result); err != nil {
				return err
			}
			*place = result
			return nil
		},
	}
}

// slot is where the result of a task is kept.
func (w *axisWork) slot(task Task) slot {
	switch d := &w.done; task {
	case Check:
		return slotOf(&d.Check)
	case DeadBand:
		return slotOf(&d.DeadBand)
	case Curve:
		return slotOf(&d.Curve)
	case Fit:
		return slotOf(&d.Fit)
	case Step:
		return slotOf(&d.Step)
	case Gains:
		return slotOf(&d.Gains)
	case Prove:
		return slotOf(&d.Prove)
	}
	panic(fmt.Sprintf("session: there is no task %q", task))
}

// has reports whether a task is done.
func (w *axisWork) has(task Task) bool { return w.slot(task).full }

// forget throws away a task and all that was built on it.
func (w *axisWork) forget(from Task) {
	for _, task := range Tasks()[slices.Index(Tasks(), from):] {
		w.slot(task).clear()
	}
}

// finish keeps a result once it is in the record, and never before.
func finish[R any](s *Session, w *axisWork, task Task, place **R, summarise func(R) string) func(R, error) error {
	return func(result R, err error) error {
		if err != nil {
			return err
		}
		s.emit("result", summarise(result), result)
		if err := s.failed(); err != nil {
			return err
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		w.forget(task)
		w.taken = readings{}
		*place = &result
		return nil
	}
}

// Run does all tasks of all axes that are not done yet, one axis finished
// before the next. It stops at the first error.
func (s *Session) Run(ctx context.Context) error {
	for i, w := range s.axes {
		for _, task := range Tasks() {
			if w.has(task) {
				continue
			}
			if err := s.RunTask(ctx, i, task); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *Session) deadBandSettings(w *axisWork) deadband.Settings {
	return deadband.Settings{
		RoughAbove: w.done.Check.RoughAbove, RoughBelow: w.done.Check.RoughBelow,
		EdgeStdErr: float64(s.cfg.Rig.Goals.Edge),
		Earlier:    w.taken.tries,
		Least:      w.done.Check.PulseLeast, Most: w.done.Check.PulseMost,
	}
}

func curveSettings(w *axisWork) curve.Settings {
	c, d := w.done.Check, w.done.DeadBand
	above, _ := d.Edge(deadband.Above, measure.Outward)
	below, _ := d.Edge(deadband.Below, measure.Outward)
	points := map[units.Pulse]float64{units.Pulse(above.Pulse.Value): 0, units.Pulse(below.Pulse.Value): 0}
	for _, j := range c.Jog {
		points[j.Pulse] = j.Ratio.Value
	}
	return curve.Settings{
		Above:   curve.Span{Edge: units.Pulse(above.Pulse.Value), Limit: c.PulseMost},
		Below:   curve.Span{Edge: units.Pulse(below.Pulse.Value), Limit: c.PulseLeast},
		Guess:   curve.NewGuess(points),
		Earlier: w.taken.sweep,
	}
}

// tablePoints of the inverse table: more than a small controller needs for 0.1 us
// on a curve of this kind, and within what one takes.
const tablePoints = 17

// fit fits the law to the readings. accuracy is what was asked for, in percent.
func fit(w *axisWork, a rig.Axis, accuracy float64) (calibration.Fit, error) {
	var options variator.FitOptions
	if quotient, known := a.Variator.WheelQuotient(); known && quotient.StdErr > 0 && a.Variator.Contacts == rig.Ball {
		options.WheelQuotient = quotient
	}
	model, err := variator.Fit(placed(*w.done.Curve), options)
	if err != nil {
		return calibration.Fit{}, err
	}
	table, err := model.TableOutside(tablePoints, sureBand(*w.done.DeadBand))
	if err != nil {
		return calibration.Fit{}, err
	}
	f := calibration.Fit{Model: model, Table: table, Neutral: w.done.DeadBand.Neutral}
	largest := math.Max(math.Abs(w.done.Curve.RatioLeast), w.done.Curve.RatioMost)
	f.FitError = 100 * model.LeaveOneOut.Typical / largest
	f.Findings = fitFindings(f, accuracy)
	return f, nil
}

// placed are the readings of a sweep with the error of their place in theirs.
func placed(c curve.Result) []variator.Reading {
	readings := variator.FromMeasured(c.Readings)
	for i, e := range curve.Errors(c.Readings, c.Repeatability.Value) {
		readings[i].StdErr = e
	}
	return readings
}

func stepSettings(w *axisWork) step.Settings {
	least, most := w.done.Fit.Model.RatioRange()
	return step.Settings{Curve: fittedCurve{&w.done.Fit.Model}, RatioLeast: float64(least), RatioMost: float64(most), Earlier: w.taken.steps}
}

// fittedCurve is the model as the step task needs it.
type fittedCurve struct{ model *variator.Model }

func (c fittedCurve) Ratio(p units.Pulse) float64 { return float64(c.model.Ratio(p)) }

func (c fittedCurve) Inverse(ratio float64) units.Pulse {
	p, err := c.model.Inverse(units.Ratio(ratio))
	if err != nil { // beyond the readings: the nearest end
		least, most := c.model.RatioRange()
		p, _ = c.model.Inverse(units.Ratio(math.Max(float64(least), math.Min(float64(most), ratio))))
	}
	return p.Pulse
}

// inRange is the share of the measured range of ratios that the loop may use,
// so that it stays where the curve is known when shaft and temperature vary.
const inRange = 0.97

func (s *Session) gainsSettings(axis int) gains.Settings {
	w := s.axes[axis]
	identity := s.cfg.Bench.Identity()
	least, most := w.done.Fit.Model.RatioRange()
	_, perCount, tolerance := s.joint(axis)
	return gains.Settings{
		DeadTime: w.done.Step.DeadTimeS, Lag: w.done.Step.LagS,
		ShaftSpeed: w.done.Check.ShaftSpeed.Value / 60,
		PerTurn:    math.Abs(w.moves.Output.PerTurn),
		Frame:      float64(identity.FrameMicros) / 1e6,
		Goal:       s.cfg.Rig.Goals.Ms,
		Tolerance:  tolerance / math.Abs(perCount),
		RatioLeast: inRange * float64(least), RatioMost: inRange * float64(most),
		Slowest: slowest(w.done.Fit.Table),
	}
}

// sureSigmas is how many prediction standard deviations outside its edge the
// output is relied on to turn.
const sureSigmas = 2

// sureBand is the band outside which the output surely starts from rest.
func sureBand(d deadband.Result) variator.DeadBand {
	above, _ := d.Edge(deadband.Above, measure.Outward)
	below, _ := d.Edge(deadband.Below, measure.Outward)
	return variator.DeadBand{
		Lower:   units.Pulse(below.Pulse.Value - sureSigmas*below.Prediction()),
		Upper:   units.Pulse(above.Pulse.Value + sureSigmas*above.Prediction()),
		Neutral: d.Neutral,
	}
}

// slowest is the smallest ratio that the axis can be relied on to hold: the
// larger of the table's two inner ones.
func slowest(t variator.Table) float64 {
	worst := 0.0
	for _, sign := range []int32{-1, 1} {
		inner := int32(math.MaxInt32)
		for _, p := range t.Points {
			if q := sign * p.RatioQ13; q > 0 {
				inner = min(inner, q)
			}
		}
		worst = math.Max(worst, float64(inner)/8192)
	}
	return worst
}

func (s *Session) proveSettings(axis int) proving.Settings {
	unit, perCount, tolerance := s.joint(axis)
	return proving.Settings{
		Gains: *s.axes[axis].done.Gains, Frame: float64(s.cfg.Bench.Identity().FrameMicros) / 1e6,
		Unit: unit, UnitPerCount: perCount, Tolerance: tolerance, Earlier: s.axes[axis].taken.closures,
		Table: s.axes[axis].done.Fit.Table.Points, Counter: s.axes[axis].moves.Output.Counter,
	}
}
