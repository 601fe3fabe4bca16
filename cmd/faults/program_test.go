package faults

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/bench"
)

// programs are faults of the program itself and of what it runs in.
func programs() []cell {
	cells := []cell{{
		// The controller stops while the program sleeps. What counts is that
		// nothing moves by itself when it wakes.
		fault: "SIGSTOP, then SIGCONT after 1.5 s",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			at := b.time()
			c.signal(t, syscall.SIGSTOP)
			b.pass(1500 * time.Millisecond)
			c.signal(t, syscall.SIGCONT)
			return at
		},
		driveWithin: driveLimit + onTheWay, pulseWithin: pulseLimit + onTheWay,
		state: bench.Stopped, cause: bench.CauseSilence, code: 1, verdicts: []string{"sound"},
		// Whichever it reads first: that the controller stopped, or that nothing came for 1.5 s.
		told: []string{"stop"},
	}, {
		fault: "SIGSTOP for 0.15 s",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			c.signal(t, syscall.SIGSTOP)
			b.pass(150 * time.Millisecond)
			c.signal(t, syscall.SIGCONT)
			b.pass(time.Second)
			at := b.time()
			c.signal(t, syscall.SIGTERM) // it had gone on
			return at
		},
		driveWithin: 300, pulseWithin: pulseLimit,
		state: bench.Stopped, cause: bench.CauseHost, code: 1, verdicts: []string{"sound"},
	}, {
		fault: "two SIGTERM at once",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			at := b.time()
			c.signal(t, syscall.SIGTERM)
			c.signal(t, syscall.SIGINT)
			return at
		},
		state: bench.Stopped, cause: bench.CauseHost, orCause: bench.CauseSilence, // the second one does not wait for the first
		code: 1, verdicts: []string{"sound", "cut off"},
	}, readerGone()}
	for _, where := range []string{"the task", "the samples", "the line's reader", "the line's writer"} {
		cells = append(cells, panicIn(where))
	}
	return cells
}

// readerGone is a pipe behind the program whose reader ends, such as a pager.
func readerGone() cell {
	pipes := map[*bed]*os.File{}
	return cell{
		fault: "reader of the output gone",
		command: func(t testing.TB, b *bed, dir string) *exec.Cmd {
			r, w, err := os.Pipe()
			require.NoError(t, err)
			cmd := exec.Command(binary, job(b.path, dir)...)
			cmd.Stdout = w
			pipes[b] = r
			t.Cleanup(func() { w.Close(); r.Close() })
			return cmd
		},
		strike: func(t testing.TB, b *bed, c *child) int64 {
			c.cmd.Stdout.(*os.File).Close() // the child has its own
			said := make([]byte, 1<<16)
			n, err := pipes[b].Read(said)
			require.NoError(t, err)
			_, _ = c.out.Write(said[:n])
			pipes[b].Close()
			b.until(t, c, "the stop that the next line brings", 20*time.Second, func() bool {
				state, _ := b.state()
				return state == bench.Stopped
			})
			return b.plant.since(drive)
		},
		state: bench.Stopped, cause: bench.CauseHost, code: 1, verdicts: []string{"sound"},
		told: []string{"signal broken pipe"},
	}
}

// panicIn is a panic in a goroutine of the program, made by its other build.
func panicIn(where string) cell {
	return cell{
		fault: "panic in the goroutine of " + where,
		command: func(t testing.TB, b *bed, dir string) *exec.Cmd {
			cmd := exec.Command(tampered, job(b.path, dir)...)
			cmd.Env = append(os.Environ(), "TRUNNION_FAULT="+where)
			return cmd
		},
		strike: func(t testing.TB, b *bed, c *child) int64 {
			c.wait(t, 30*time.Second)
			return b.plant.since(drive)
		},
		state: bench.Stopped, cause: bench.CauseHost, code: 1, verdicts: []string{"sound"},
		told: []string{"made by the test in the goroutine of " + where, "the rig was"},
	}
}

// The program as it is shipped has no way to be told to panic.
func TestNoHookInTheProgram(t *testing.T) {
	for path, want := range map[string]bool{binary: false, tampered: true} {
		f, err := os.Open(path)
		require.NoError(t, err)
		defer f.Close()
		text, err := io.ReadAll(f)
		require.NoError(t, err)
		assert.Equal(t, want, bytes.Contains(text, []byte("TRUNNION_"+"FAULT")), strings.TrimPrefix(path, os.TempDir()))
	}
}
