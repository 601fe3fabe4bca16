package main

import (
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"trunnion/tuning/session"
)

// patience is how long the program may take after a signal to stop the rig,
// keep the record and end by itself.
const patience = 1500 * time.Millisecond

// lastWord is how long a second signal, as of a key pressed twice, leaves the
// first one's stop to reach the controller, which is a matter of milliseconds.
const lastWord = 100 * time.Millisecond

// onSignal stops the rig at SIGINT, SIGTERM, SIGHUP and SIGQUIT, and when nobody
// reads the output any more (SIGPIPE), whatever the rest of the program is
// doing, and lets cancel end it. If it has not ended after patience, or at a
// second signal, it is ended here. The returned function takes the handling off
// again.
func onSignal(errs io.Writer, stop func(why string), cancel func(cause error)) (off func()) {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT, syscall.SIGPIPE)
	done := make(chan struct{})
	go func() {
		var sig os.Signal
		select {
		case <-done:
			return
		case sig = <-signals:
		}
		why := fmt.Sprintf("signal %v", sig)
		stopped := make(chan struct{})
		go func() {
			defer close(stopped)
			defer func() { _ = recover() }() // the end comes all the same, and silence stops the rig
			stop(why)
		}()
		fmt.Fprintf(errs, "trunnion: %v: the rig is told to stop, the record is kept\n", sig)
		cancel(&session.Stopped{Why: why})
		if secondSignal(signals, done) {
			select {
			case <-stopped:
			case <-time.After(lastWord):
			}
		}
		select {
		case <-done:
		default:
			os.Exit(exitFailed)
		}
	}()
	return func() {
		signal.Stop(signals)
		close(done)
	}
}

// secondSignal waits for the end, for patience, or for a second signal, and
// reports whether it was that. Each line that nobody reads is a SIGPIPE again
// and means nothing new.
func secondSignal(signals <-chan os.Signal, done <-chan struct{}) bool {
	limit := time.After(patience)
	for {
		select {
		case <-done:
			return false
		case <-limit:
			return false
		case sig := <-signals:
			if sig != syscall.SIGPIPE {
				return true
			}
		}
	}
}
