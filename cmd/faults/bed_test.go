package faults

import (
	"math"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"trunnion/fixtures/machines"
	"trunnion/link/virtual"
	"trunnion/link/virtual/physics"
	"trunnion/link/virtual/ptyline"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// bed is a rig on a pseudo-terminal, at real pace, that a test can look into
// and do harm to.
type bed struct {
	rig   *virtual.Rig
	plant *witness
	tap   *tap
	path  string
	time  func() int64 // us of the rig's clock
	stop  func()
}

// newBed plays the trolley of the scenery lift until the test ends.
func newBed(t testing.TB) *bed {
	t.Helper()
	text, err := machines.Text("trolley")
	require.NoError(t, err)
	machine, err := physics.Read(text)
	require.NoError(t, err)
	plant, err := physics.New(machine, 1)
	require.NoError(t, err)
	b := &bed{plant: newWitness(plant)}
	b.time = b.plant.time.Load
	b.rig, err = virtual.Wire(b.plant, virtual.Board(machine), virtual.Options{Seed: 1, Boot: 1})
	require.NoError(t, err)
	line, err := ptyline.Open()
	require.NoError(t, err)
	b.path = line.Path()
	b.tap = newTap(line, b.time)

	stop, served := make(chan struct{}), make(chan error, 1)
	go func() { served <- virtual.Serve(b.rig, b.tap, virtual.RealTime, stop) }()
	var once sync.Once
	b.stop = func() {
		once.Do(func() {
			close(stop)
			if err := <-served; err != nil {
				t.Errorf("the rig was not served to the end: %v", err)
			}
			_ = line.Close()
		})
	}
	t.Cleanup(b.stop)
	return b
}

// do does something to the rig between two of its steps, and tells when.
func (b *bed) do(f func()) (at int64) {
	done := make(chan struct{})
	b.plant.todo <- func() { at = b.plant.Now(); f(); close(done) }
	<-done
	return at
}

// until waits for a condition of the rig.
func (b *bed) until(t testing.TB, c *child, what string, limit time.Duration, reached func() bool) {
	t.Helper()
	for end := time.Now().Add(limit); !reached(); time.Sleep(2 * time.Millisecond) {
		if c.over() {
			t.Fatalf("the program ended before %s, code %d:\n%s\n%s", what, c.code, c.out, c.errs)
		}
		if time.Now().After(end) {
			t.Fatalf("waited for %v in vain for %s:\n%s\n%s", limit, what, c.out, c.errs)
		}
	}
}

// pass lets so much of the rig's time pass.
func (b *bed) pass(d time.Duration) {
	for end := b.time() + d.Microseconds(); b.time() < end; {
		time.Sleep(5 * time.Millisecond)
	}
}

// neutral is the pulse that the host named last; 0 is none.
func (b *bed) neutral() float64 {
	pulse := 0.0
	for _, s := range b.tap.received() {
		switch m := s.frame.Message.(type) {
		case wire.Neutral:
			pulse = float64(m.PulseTenths) / 10
		}
	}
	return pulse
}

// turning reports whether the drive has been on for so long that the shaft is
// up to speed, with the servo at least 5 us away from a known neutral.
func (b *bed) turning() bool {
	n := b.neutral()
	return n != 0 && b.plant.value(drive) != 0 && b.time()-b.plant.since(drive) > 500_000 && math.Abs(b.plant.value(0)-n) >= 5
}

// inMotion waits until the program turns the output.
func (b *bed) inMotion(t testing.TB, c *child) {
	t.Helper()
	b.until(t, c, "the output turned", 30*time.Second, b.turning)
}

// behaviour is what the controller did after a fault.
type behaviour struct {
	event     int64 // us
	driveOff  int64 // us after the event; never is not at all
	restPulse int64 // us after the event until neutral, or no pulse, was out
	lastFrame int64 // us after the event: the last good frame of the host before the drive was off; negative is before it
	state     bench.State
	cause     bench.Cause
	after     []act // that moved something again
}

const never = math.MaxInt64

// since looks at what the controller has done since an event.
func (b *bed) since(event int64) behaviour {
	r := behaviour{event: event, driveOff: never, restPulse: never, lastFrame: math.MinInt64}
	neutral := b.neutral()
	direction, pulse := 0.0, 0.0
	acts := b.plant.all()
	i := 0
	for ; i < len(acts) && acts[i].at <= event; i++ {
		if acts[i].what == drive {
			direction = acts[i].value
		} else {
			pulse = acts[i].value
		}
	}
	atRest := func() bool { return pulse == 0 || pulse == neutral }
	if direction == 0 {
		r.driveOff = 0
	}
	if atRest() {
		r.restPulse = 0
	}
	for ; i < len(acts); i++ {
		a := acts[i]
		if a.what == drive {
			direction = a.value
		} else {
			pulse = a.value
		}
		if r.driveOff != never && (direction != 0 || r.restPulse != never && !atRest()) {
			r.after = append(r.after, a)
		}
		if direction == 0 && r.driveOff == never {
			r.driveOff = a.at - event
		}
		if atRest() && r.driveOff != never && r.restPulse == never {
			r.restPulse = a.at - event
		}
	}
	for _, s := range b.tap.received() {
		if s.err == nil && s.frame.Message.Type().FromHost() && (r.driveOff == never || s.at-event <= r.driveOff) {
			r.lastFrame = s.at - event
		}
	}
	b.do(func() { r.state, r.cause = b.rig.Controller().State() })
	return r
}
