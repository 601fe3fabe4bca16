package faults

import (
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// A computer that stands still for a third of a second looks to the board as a
// program that does, and to this program as a board that does. Of a test that
// failed while that happened nothing can be said: it is done again.
const (
	stall    = 80 * time.Millisecond
	attempts = 3
)

// stalls counts how often this process was not served for so long.
var stalls atomic.Int64

// watchForStalls runs beside all tests.
func watchForStalls() {
	for last := time.Now(); ; {
		time.Sleep(5 * time.Millisecond)
		now := time.Now()
		if now.Sub(last) > stall {
			stalls.Add(1)
		}
		last = now
	}
}

// trial is one attempt at a test. It keeps what the attempt says, so that one
// that means nothing can be forgotten.
type trial struct {
	testing.TB

	mu       sync.Mutex // guards what follows
	said     []string
	failed   bool
	cleanups []func()
}

// together runs a subtest beside the others.
func together(t *testing.T, fault string, f func(t testing.TB)) {
	t.Run(fault, func(t *testing.T) {
		t.Parallel()
		for n := 1; ; n++ {
			before := stalls.Load()
			x := attempt(t, f)
			if x.failed && stalls.Load() > before && n < attempts {
				t.Logf("the computer stood still meanwhile: once more")
				continue
			}
			for _, line := range x.said {
				t.Log(line)
			}
			if x.failed {
				t.Fail()
			}
			return
		}
	})
}

// attempt runs f to its end, which may be a FailNow.
func attempt(t testing.TB, f func(t testing.TB)) *trial {
	x := &trial{TB: t}
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer x.clean()
		f(x)
	}()
	<-done
	return x
}

func (x *trial) clean() {
	for n := len(x.cleanups) - 1; n >= 0; n-- {
		x.cleanups[n]()
	}
}

func (x *trial) say(failed bool, line string) {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.said, x.failed = append(x.said, line), x.failed || failed
}

// Cleanup runs f at the end of the attempt.
func (x *trial) Cleanup(f func()) { x.cleanups = append(x.cleanups, f) }

func (x *trial) Errorf(format string, a ...any) { x.say(true, fmt.Sprintf(format, a...)) }
func (x *trial) Error(a ...any)                 { x.say(true, fmt.Sprintln(a...)) }
func (x *trial) Logf(format string, a ...any)   { x.say(false, fmt.Sprintf(format, a...)) }
func (x *trial) Log(a ...any)                   { x.say(false, fmt.Sprintln(a...)) }

func (x *trial) Fatalf(format string, a ...any) {
	x.Errorf(format, a...)
	x.FailNow()
}

func (x *trial) FailNow() {
	x.mu.Lock()
	x.failed = true
	x.mu.Unlock()
	runtime.Goexit()
}

// Failed reports whether the attempt has failed so far.
func (x *trial) Failed() bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.failed
}

// An attempt that failed is forgotten only if the computer stood still.
func TestAttempts(t *testing.T) {
	x := attempt(t, func(t testing.TB) {
		t.Cleanup(func() { t.Log("cleaned") })
		t.Errorf("one %d", 1)
		t.Fatalf("two")
		t.Log("never")
	})
	if !x.Failed() || len(x.said) != 3 || x.said[0] != "one 1" || x.said[1] != "two" {
		t.Errorf("an attempt said %q, failed %v", x.said, x.failed)
	}
	if x := attempt(t, func(testing.TB) {}); x.Failed() {
		t.Error("an attempt without a failure failed")
	}
}
