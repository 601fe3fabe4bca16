//go:build faults

package main

import (
	"math"
	"os"
	"sync/atomic"
	"time"

	"trunnion/link"
	"trunnion/tuning/bench"
	"trunnion/tuning/session"
)

// tamper makes the program panic in one of its goroutines while the output
// turns: TRUNNION_FAULT says in which.
func tamper(c link.Conn, l listeners) (link.Conn, listeners) {
	where := os.Getenv("TRUNNION_FAULT")
	var ripe, done atomic.Bool // the output turns; the panic was made
	due := func(here string) {
		if where == here && ripe.Load() && done.CompareAndSwap(false, true) {
			panic("made by the test in the goroutine of " + here)
		}
	}
	event, turning := l.event, 0
	l.event = func(e session.Event) {
		if event != nil {
			event(e)
		}
		due("the task")
	}
	l.sample = func(s bench.Sample) {
		if s.Has(bench.DriveOn) && s.Has(bench.NeutralKnown) && math.Abs(float64(s.Axes[0].Pulse)-1500) > 5 {
			turning++
		} else {
			turning = 0
		}
		if turning > 60 {
			ripe.Store(true)
		}
		due("the samples")
	}
	return &tampered{Conn: c, due: due}, l
}

// tampered is a connection that panics when told.
type tampered struct {
	link.Conn
	due func(here string)
}

func (t *tampered) Read(p []byte, wait time.Duration) (int, error) {
	t.due("the line's reader")
	return t.Conn.Read(p, wait)
}

func (t *tampered) Write(p []byte) error {
	t.due("the line's writer")
	return t.Conn.Write(p)
}

// WriteUrgent is what a stop goes by.
func (t *tampered) WriteUrgent(p []byte) error {
	if u, ok := t.Conn.(link.UrgentWriter); ok {
		return u.WriteUrgent(p)
	}
	return t.Conn.Write(p)
}
