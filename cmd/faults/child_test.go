package faults

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"trunnion/tuning/logbook"
)

// text collects what a process prints.
type text struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (t *text) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.b.Write(p)
}

func (t *text) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.b.String()
}

// child is a run of the real program.
type child struct {
	cmd       *exec.Cmd
	out, errs *text
	ended     chan struct{}
	code      int // -1 if a signal ended it; valid when ended is closed
}

// start starts a program with a minute to live.
func start(t testing.TB, cmd *exec.Cmd) *child {
	t.Helper()
	c := &child{cmd: cmd, out: &text{}, errs: &text{}, ended: make(chan struct{})}
	if cmd.Stdout == nil {
		cmd.Stdout = c.out
	}
	cmd.Stderr = c.errs
	cmd.WaitDelay = 2 * time.Second
	require.NoError(t, cmd.Start())
	go func() {
		err := cmd.Wait()
		var exit *exec.ExitError
		if c.code = cmd.ProcessState.ExitCode(); err != nil && !errors.As(err, &exit) {
			c.code = -2
		}
		close(c.ended)
	}()
	t.Cleanup(func() {
		if !c.over() {
			_ = cmd.Process.Kill()
			<-c.ended
		}
	})
	return c
}

// run starts the program.
func run(t testing.TB, args ...string) *child {
	t.Helper()
	return start(t, exec.Command(binary, args...))
}

// signal sends a signal.
func (c *child) signal(t testing.TB, s syscall.Signal) {
	t.Helper()
	require.NoError(t, c.cmd.Process.Signal(s))
}

func (c *child) over() bool {
	select {
	case <-c.ended:
		return true
	default:
		return false
	}
}

// wait waits for the end.
func (c *child) wait(t testing.TB, limit time.Duration) {
	t.Helper()
	select {
	case <-c.ended:
	case <-time.After(limit):
		t.Fatalf("the program has not ended within %v:\n%s\n%s", limit, c.out, c.errs)
	}
}

// job is the arguments of a run on a port.
func job(port, dir string) []string {
	return []string{"run", "--rig", rigFile, "--port", port, "--arm", "--out", dir}
}

// verdict asks the program itself about a record: sound, cut off, damaged.
func verdict(t testing.TB, dir string) string {
	t.Helper()
	out, err := exec.Command(binary, "verify", dir).Output()
	brief, _, _ := strings.Cut(string(out), "\n")
	_, brief, _ = strings.Cut(brief, dir+": ")
	brief, _, _ = strings.Cut(brief, ",")
	if (brief == "sound" || brief == "cut off") != (err == nil) {
		t.Errorf("verify said %q and ended with %v", brief, err)
	}
	return brief
}

// kept are the kinds of lines that may be printed only once they are recorded.
var kept = []string{"reading", "result", "finding"}

// printedIsRecorded compares what a run printed with its record, and returns
// how many lines were promised.
func printedIsRecorded(t testing.TB, out, dir string) (lines int) {
	t.Helper()
	record, _, err := logbook.Open(logbook.OSFS{}, dir)
	require.NoError(t, err)
	defer record.Close()
	recorded := map[string]int{}
	for _, e := range record.Events {
		for _, kind := range kept {
			if e.Kind == kind {
				recorded[kind+" "+textOf(t, e.Payload)]++
			}
		}
	}
	whole := out[:strings.LastIndex(out, "\n")+1]
	for line := range strings.Lines(whole) {
		_, rest, isEvent := strings.Cut(line, " s  ")
		if !isEvent || len(rest) < 24 {
			continue
		}
		kind, said, _ := strings.Cut(rest[23:], " ")
		for _, k := range kept {
			if kind != k {
				continue
			}
			key := kind + " " + strings.TrimSpace(said)
			if recorded[key]--; recorded[key] < 0 {
				t.Errorf("printed and not in the record: %s", key)
			}
			lines++
		}
	}
	return lines
}

// newDir is a results folder that does not exist yet.
func newDir(t testing.TB) string { return filepath.Join(t.TempDir(), "run") }

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}
