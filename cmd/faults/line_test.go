package faults

import (
	"bytes"
	"os/exec"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/link/virtual"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// lose drops a frame.
func lose([]byte) []byte { return nil }

// lines are faults of the line at which the rig must stop.
func lines() []cell {
	return []cell{{
		fault: "cable cut within a frame",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			var at atomic.Int64
			b.tap.spoil(false, func(chunk []byte) []byte {
				if at.CompareAndSwap(0, b.time()) {
					return chunk[:len(chunk)/2]
				}
				return nil
			})
			b.until(t, c, "a frame was cut", time.Second, func() bool { return at.Load() != 0 })
			b.do(func() { b.rig.Cut(true) })
			return at.Load()
		},
		state: bench.Stopped, cause: bench.CauseSilence, code: 1, verdicts: []string{"sound"},
		told: []string{"no answer to", "controller stops by itself", "cable"},
	}, {
		fault: "cable cut, mended after 0.6 s",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			at := b.do(func() { b.rig.Cut(true) })
			b.pass(600 * time.Millisecond)
			b.do(func() { b.rig.Cut(false) })
			return at
		},
		driveWithin: driveLimit + onTheWay, pulseWithin: pulseLimit + onTheWay,
		state: bench.Stopped, cause: bench.CauseSilence, code: 1, verdicts: []string{"sound"},
	}, {
		fault: "only the way to the host cut",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			b.tap.spoil(true, lose)
			return b.time()
		},
		driveWithin: 1050, pulseWithin: 1070, // the host notices it, after a second without a word, and parks
		state: bench.Safe, code: 1, verdicts: []string{"sound"},
		told: []string{"no answer to"},
	}, {
		fault: "port unplugged",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			at := b.time()
			b.tap.unplug()
			return at
		},
		state: bench.Stopped, cause: bench.CauseSilence, code: 1, verdicts: []string{"sound"},
		told: []string{"the port is gone", "look at cable and supply"},
	}, {
		fault: "nothing but garbage towards the controller",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			at := b.time()
			b.tap.spoil(false, func(chunk []byte) []byte { chunk[len(chunk)/2] ^= 0x55; return chunk })
			return at
		},
		driveWithin: driveLimit + onTheWay, pulseWithin: pulseLimit + onTheWay,
		state: bench.Stopped, cause: bench.CauseSilence, code: 1, verdicts: []string{"sound"},
	}, {
		fault: "nothing but garbage towards the host",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			b.tap.spoil(true, func(chunk []byte) []byte { chunk[len(chunk)/2] ^= 0x55; return chunk })
			return b.time()
		},
		driveWithin: 1050, pulseWithin: 1070,
		state: bench.Safe, code: 1, verdicts: []string{"sound"},
		told: []string{"no answer to"},
	}}
}

// nuisance is a fault in spite of which the job goes on.
type nuisance struct {
	fault string
	begin func(b *bed)
}

func everyThird(f func([]byte) []byte) func([]byte) []byte {
	n := 0
	return func(chunk []byte) []byte {
		if n++; n%3 == 0 {
			return f(chunk)
		}
		return chunk
	}
}

func twice(chunk []byte) []byte { return append(bytes.Clone(chunk), chunk...) }

// swap gives every second frame after the one behind it.
func swap() func([]byte) []byte {
	var first []byte
	return func(chunk []byte) []byte {
		if first == nil {
			first = bytes.Clone(chunk)
			return nil
		}
		both := append(bytes.Clone(chunk), first...)
		first = nil
		return both
	}
}

func nuisances() []nuisance {
	both := func(f func() func([]byte) []byte) func(b *bed) {
		return func(b *bed) { b.tap.spoil(false, f()); b.tap.spoil(true, f()) }
	}
	return []nuisance{
		{"every third frame lost, both ways", both(func() func([]byte) []byte { return everyThird(lose) })},
		{"every frame doubled, both ways", both(func() func([]byte) []byte { return twice })},
		{"frames in the wrong order, to the host", func(b *bed) { b.tap.spoil(true, swap()) }},
		{"frames in the wrong order, to the controller", func(b *bed) { b.tap.spoil(false, swap()) }},
		{"bursts of garbage between frames, both ways", func(b *bed) {
			for i := range 12 {
				b.do(func() { b.rig.Noise(virtual.Way(i%2), 40) })
				b.pass(170 * time.Millisecond)
			}
		}},
		{"bytes lost, both ways", func(b *bed) {
			for i := range 12 {
				b.do(func() { b.rig.Lose(virtual.Way(i%2), 3) })
				b.pass(170 * time.Millisecond)
			}
		}},
		{"cable cut for 0.15 s", func(b *bed) {
			b.do(func() { b.rig.Cut(true) })
			b.pass(150 * time.Millisecond)
			b.do(func() { b.rig.Cut(false) })
		}},
	}
}

// run sees the job go on, one reading more at least, each command carried out
// once, and stops it.
func (x nuisance) run(t testing.TB) {
	b, dir := newBed(t), newDir(t)
	c := run(t, job(b.path, dir)...)
	b.inMotion(t, c)
	readings := func() int { return bytes.Count([]byte(c.out.String()), []byte(" reading ")) }
	before := readings()
	x.begin(b)
	b.until(t, c, "readings went on", 20*time.Second, func() bool { return readings() >= before+2 })
	var state bench.State
	b.do(func() { state, _ = b.rig.Controller().State() })
	assert.Contains(t, []bench.State{bench.Armed, bench.Moving}, state)
	moves := b.eachOnce(t)
	at := b.time()
	c.signal(t, syscall.SIGTERM)
	c.wait(t, 10*time.Second)
	b.pass(400 * time.Millisecond)
	r := b.since(at)
	assert.NotEqual(t, int64(never), r.driveOff)
	assert.NotEqual(t, int64(never), r.restPulse)
	assert.Empty(t, r.after)
	assert.Equal(t, 1, c.code, c.errs)
	found := verdict(t, dir)
	assert.Equal(t, "sound", found)
	kept := printedIsRecorded(t, c.out.String(), dir)
	report(x.fault, "went on, "+moves, found+", "+plural(kept, "line")+" kept", "nothing, until it was stopped")
}

// eachOnce compares the pulses that the board put out with the tilts that the
// program sent: each comes once, in their order.
func (b *bed) eachOnce(t testing.TB) string {
	t.Helper()
	var wanted, done []float64
	last := uint16(0)
	for _, s := range b.tap.sent() {
		if m, ok := s.frame.Message.(wire.Tilt); ok && s.frame.Number != last {
			last = s.frame.Number
			wanted = append(wanted, float64(m.Pulses[0].PulseTenths)/10)
		}
	}
	for _, a := range b.plant.all() {
		if a.what == 0 && a.value != 0 {
			done = append(done, a.value)
		}
	}
	for i, pulse := range done {
		for len(wanted) > 0 && wanted[0] != pulse { // asked for and in force already
			wanted = wanted[1:]
		}
		if !assert.NotEmpty(t, wanted, "pulse %v, number %d of those put out, was asked for once", pulse, i+1) {
			break
		}
		wanted = wanted[1:]
	}
	return plural(len(done), "tilt") + " once each"
}

// staleDrive plays an old command to switch the drive on, byte for byte, after
// the program has stopped the rig, and after it was cleared and armed again.
func staleDrive(t testing.TB) {
	b, dir := newBed(t), newDir(t)
	var mu sync.Mutex
	var old []byte
	b.tap.spoil(false, func(chunk []byte) []byte {
		var d wire.Decoder
		for _, r := range d.Feed(chunk) {
			if m, ok := r.Frame.Message.(wire.Drive); ok && m.Direction == bench.Forward {
				mu.Lock()
				old = bytes.Clone(chunk)
				mu.Unlock()
			}
		}
		return chunk
	})
	c := start(t, exec.Command(binary, job(b.path, dir)...))
	b.inMotion(t, c)
	at := b.time()
	c.signal(t, syscall.SIGTERM)
	c.wait(t, 5*time.Second)
	mu.Lock()
	defer mu.Unlock()
	require.NotNil(t, old)
	for range 3 {
		b.do(func() { b.rig.Send(old) })
		b.pass(200 * time.Millisecond)
	}
	r := b.since(at)
	assert.Empty(t, r.after, "an old command moves nothing")
	assert.Equal(t, bench.Stopped, r.state)
	found := verdict(t, dir)
	report("an old drive-on comes again after the stop", r.words(), found, told(c))
}
