package faults

import (
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// state is the board's.
func (b *bed) state() (s bench.State, c bench.Cause) {
	b.do(func() { s, c = b.rig.Controller().State() })
	return s, c
}

// isMotion reports whether a frame asks for something to move.
func isMotion(s seen) bool {
	switch m := s.frame.Message.(type) {
	case wire.Arm, wire.SetPoint, wire.Stream, wire.Select:
		return true
	case wire.Drive:
		return m.Direction != bench.Off
	case wire.Tilt:
		for _, p := range m.Pulses {
			if p.PulseTenths != 0 {
				return true
			}
		}
	}
	return false
}

// noMotion sees that nothing was asked to move, and nothing did.
func (b *bed) noMotion(t testing.TB) {
	t.Helper()
	for _, s := range b.tap.sent() {
		assert.False(t, isMotion(s), "%v was sent", s.frame)
	}
	assert.Empty(t, b.plant.all())
}

// beginning is a fault that is there from the start.
type beginning struct {
	fault  string
	before func(t testing.TB, b *bed)
	args   func(b *bed, dir string) []string // nil is the job
	code   int
	told   []string
	mute   bool // not one byte may go out
}

func beginnings() []beginning {
	rig := func(path string) func(b *bed, dir string) []string {
		return func(b *bed, dir string) []string {
			return []string{"run", "--rig", path, "--port", b.path, "--arm", "--out", dir}
		}
	}
	port := func(path string) func(b *bed, dir string) []string {
		return func(_ *bed, dir string) []string { return job(path, dir) }
	}
	return []beginning{{
		fault: "silent from the start", before: func(t testing.TB, b *bed) { b.do(func() { b.rig.Freeze(true) }) },
		code: 1, told: []string{"no answer at all", "check that the controller has power"},
	}, {
		fault: "only noise from the start",
		before: func(t testing.TB, b *bed) {
			b.tap.spoil(true, func(chunk []byte) []byte { chunk[len(chunk)/2] ^= 0x5a; return chunk })
		},
		code: 1, told: []string{"no valid frame", "check that this is the controller's port"},
	}, {
		fault:  "echo of the line instead of a controller",
		before: func(t testing.TB, b *bed) { b.echo() },
		code:   1, told: []string{"receive and send are joined"},
	}, {
		fault: "controller of another version", before: func(t testing.TB, b *bed) { b.tap.spoil(true, otherVersion) },
		code: 1, told: []string{"another version of the protocol", "load a program of the same major version"},
	}, {
		fault: "stop input open from the start", before: func(t testing.TB, b *bed) { b.do(func() { b.rig.OpenStopInput(true) }) },
		code: 1, told: []string{"stop input"},
	}, {
		fault: "run on a port without --arm",
		args: func(b *bed, dir string) []string {
			return []string{"run", "--rig", rigFile, "--port", b.path, "--out", dir}
		},
		code: 2, told: []string{"without --arm", "hard switch"}, mute: true,
	}, {
		fault: "unknown flag", args: func(b *bed, dir string) []string { return append(job(b.path, dir), "--faster") },
		code: 2, told: []string{"unknown flag: --faster"}, mute: true,
	}, {
		fault: "a word that is no flag", args: func(b *bed, dir string) []string { return append(job(b.path, dir), "now") },
		code: 2, told: []string{`"now" is not understood`}, mute: true,
	}, {
		fault: "unknown command", args: func(*bed, string) []string { return []string{"calibrate"} },
		code: 2, told: []string{`no command "calibrate"`, "trunnion help"}, mute: true,
	}, {
		fault: "port without a rig file",
		args:  func(b *bed, dir string) []string { return []string{"run", "--port", b.path, "--arm", "--out", dir} },
		code:  2, told: []string{"--port needs --rig"}, mute: true,
	}, {
		fault: "rig file missing", args: rig("no-such-file.toml"),
		code: 1, told: []string{"no-such-file.toml", "no such file", "name an existing file with --rig"}, mute: true,
	}, {
		fault: "rig file broken", args: rig("testdata/broken.toml"),
		code: 1, told: []string{"broken.toml:7:32"}, mute: true,
	}, {
		fault: "rig file with an unknown key", args: rig("testdata/unknown.toml"),
		code: 1, told: []string{"unknown.toml:4:1", "nominal_rpm"}, mute: true,
	}, {
		fault: "port missing", args: port("/dev/no-such-port"),
		code: 1, told: []string{"/dev/no-such-port", "there is no such port", "plug the controller in"}, mute: true,
	}, {
		fault: "port is a regular file", args: port(rigFile),
		code: 1, told: []string{"it is not a serial port", "name a serial port"}, mute: true,
	}, {
		fault: "port is a folder", args: port("."),
		code: 1, told: []string{"it is not a serial port"}, mute: true,
	}, {
		fault: "port is no terminal", args: port("/dev/null"),
		code: 1, told: []string{"/dev/null", "it is not a serial port"}, mute: true,
	}, {
		fault: "joint stands nowhere", args: func(b *bed, dir string) []string { return append(job(b.path, dir), "--stands-at", "trolley") },
		code: 2, told: []string{"--stands-at", "such as lift=200"}, mute: true,
	}}
}

// otherVersion has the board answer as one of the next major version does.
func otherVersion(chunk []byte) []byte {
	var d wire.Decoder
	for _, r := range d.Feed(chunk) {
		if _, ok := r.Frame.Message.(wire.Identity); ok {
			refusal := wire.Refuse{Request: wire.TypeHello, Reason: bench.ReasonVersion, Detail: 2}
			line, err := wire.Encode(nil, wire.Frame{Message: refusal})
			if err != nil {
				panic(err) // a constant message
			}
			return line
		}
	}
	return chunk
}

// echo joins the two ways of the line before the board.
func (b *bed) echo() {
	b.tap.spoil(false, func(chunk []byte) []byte {
		_, _ = b.tap.line.Write(chunk)
		return nil
	})
}

func (x beginning) run(t testing.TB) {
	b, dir := newBed(t), newDir(t)
	if x.before != nil {
		x.before(t, b)
	}
	args := job(b.path, dir)
	if x.args != nil {
		args = x.args(b, dir)
	}
	c := run(t, args...)
	c.wait(t, 20*time.Second)
	assert.Equal(t, x.code, c.code, "exit code\n%s", c.errs)
	for _, words := range x.told {
		assert.Contains(t, c.errs.String(), words)
	}
	b.noMotion(t)
	if x.mute {
		assert.Empty(t, b.tap.sent(), "not a frame goes out")
		assert.False(t, exists(dir), "no record is begun")
	}
	record := "none begun"
	if exists(dir) {
		record = verdict(t, dir)
		assert.Contains(t, []string{"sound", "cut off"}, record)
	}
	report(x.fault, "nothing: no motion was asked for", record, told(c))
}

// secondInstance tries to use a port on which the output turns.
func secondInstance(t testing.TB) {
	b, dir := newBed(t), newDir(t)
	c := run(t, job(b.path, dir)...)
	b.inMotion(t, c)
	hellos := 0
	again := run(t, job(b.path, filepath.Join(t.TempDir(), "second"))...)
	again.wait(t, 10*time.Second)
	assert.Equal(t, 1, again.code)
	assert.Contains(t, again.errs.String(), "another program has the port open")
	assert.Contains(t, again.errs.String(), "close that program")
	b.pass(500 * time.Millisecond)
	for _, s := range b.tap.sent() {
		if _, ok := s.frame.Message.(wire.Hello); ok {
			hellos++
		}
	}
	assert.Equal(t, 1, hellos, "the second one says nothing on the line")
	require.False(t, c.over(), "the first one goes on")
	c.signal(t, syscall.SIGTERM)
	c.wait(t, 5*time.Second)
	found := verdict(t, dir)
	assert.Equal(t, "sound", found)
	printedIsRecorded(t, c.out.String(), dir)
	report("second instance on the same port", "the first went on", found, told(again))
}
