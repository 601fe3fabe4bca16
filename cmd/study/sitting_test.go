package study

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/machines"
	"trunnion/fixtures/rigs"
	"trunnion/link/client"
	"trunnion/link/virtual"
	"trunnion/link/virtual/physics"
	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// moment is where the machine truly was when a sample came in.
type moment struct {
	micros int64
	joints []float64 // in their units
}

// spell is the time that a task took, on the rig's clock.
type spell struct {
	axis     string
	task     session.Task
	from, to int64 // us
}

// sitting is one calibration of one machine, with the truth beside it.
type sitting struct {
	name     string
	seed     uint64
	machine  physics.Machine
	rig      rig.Rig
	document calibration.Document
	path     []moment
	spells   []spell
	pulsed   []int64 // when each servo got its first pulse, us
}

// calibrate runs all tasks of all axes of a demo, flat out and without a
// record. The same seed gives the same run.
func calibrate(t testing.TB, name string, m physics.Machine, seed uint64) *sitting {
	t.Helper()
	s := &sitting{name: name, seed: seed, machine: m}
	text, err := rigs.Text(name)
	require.NoError(t, err)
	s.rig, err = rig.Parse(name+".toml", text)
	require.NoError(t, err)
	plant, err := virtual.New(s.machine, virtual.Options{Seed: seed, Boot: 1})
	require.NoError(t, err)
	stands := session.StandsAt{}
	for j, joint := range s.machine.Joints {
		stands[joint.Name] = math.Round(plant.Plant().JointPosition(j))
	}
	s.pulsed = make([]int64, len(s.machine.Axes))
	conn := virtual.Dial(plant, virtual.FlatOut)
	c, err := client.Dial(conn, client.Options{
		Synchronous: true, SampleRate: 100, Fresh: true, Axes: len(s.rig.Axes), Counters: s.rig.Counters(),
		OnSample: func(sample bench.Sample) { conn.Do(func(r *virtual.Rig) { s.look(r, sample) }) },
	})
	require.NoError(t, err)
	defer c.Close()
	work, err := session.New(session.Config{
		Rig: s.rig, Bench: c, Now: func() time.Time { return time.Unix(0, 0) }, Software: "study", StandsAt: stands,
		Listen: func(e session.Event) { s.note(e, conn.Now()) },
	})
	require.NoError(t, err)
	failed := fmt.Sprintf("%s, seed %d", name, seed)
	require.NoError(t, work.Arm(context.Background()), failed)
	require.NoError(t, work.Run(context.Background()), failed)
	s.document = work.Document()
	return s
}

func machine(t testing.TB, name string) physics.Machine {
	t.Helper()
	text, err := machines.Text(name)
	require.NoError(t, err)
	m, err := physics.Read(text)
	require.NoError(t, err)
	return m
}

// look keeps the truth at a sample.
func (s *sitting) look(r *virtual.Rig, sample bench.Sample) {
	p := r.Plant()
	m := moment{micros: p.Now(), joints: make([]float64, len(s.machine.Joints))}
	for j := range m.joints {
		m.joints[j] = p.JointPosition(j)
	}
	s.path = append(s.path, m)
	for i := range s.pulsed {
		if s.pulsed[i] == 0 && sample.Axes[i].Pulse > 0 {
			s.pulsed[i] = p.Now()
		}
	}
}

// note keeps when tasks begin and end.
func (s *sitting) note(e session.Event, now time.Duration) {
	switch e.Kind {
	case session.Began:
		s.spells = append(s.spells, spell{axis: e.Axis, task: e.Task, from: now.Microseconds()})
	case session.Ended:
		s.spells[len(s.spells)-1].to = now.Microseconds()
	}
}

// spell is when a task of an axis was done.
func (s *sitting) spell(axis int, task session.Task) spell {
	for _, p := range s.spells {
		if p.axis == s.document.Axes[axis].Name && p.task == task {
			return p
		}
	}
	return spell{}
}

// seconds is how long an axis kept the bench.
func (s *sitting) seconds(axis int) float64 {
	sum := int64(0)
	for _, p := range s.spells {
		if p.axis == s.document.Axes[axis].Name {
			sum += p.to - p.from
		}
	}
	return float64(sum) * 1e-6
}

// drift is by how much the servo's centre had shifted, on average over a task,
// us.
func (s *sitting) drift(axis int, task session.Task) float64 {
	servo, when := s.machine.Axes[axis].Servo, s.spell(axis, task)
	if servo.DriftSeconds == 0 {
		return 0
	}
	warm := float64((when.from+when.to)/2-s.pulsed[axis]) * 1e-6
	return servo.DriftMicros * (1 - math.Exp(-warm/servo.DriftSeconds))
}
