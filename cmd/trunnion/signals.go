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

// onSignal stops the rig at SIGINT, SIGTERM, SIGHUP and SIGQUIT, and when nobody
// reads the output any more (SIGPIPE), whatever the rest of the program is
// doing, and lets cancel end it. If it has not ended
// after patience, or at a second signal, it is ended here. The returned function
// takes the handling off again.
func onSignal(errs io.Writer, stop func(why string), cancel func(cause error)) (off func()) {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT, syscall.SIGPIPE)
	done := make(chan struct{})
	go func() {
		select {
		case <-done:
			return
		case sig := <-signals:
			why := fmt.Sprintf("signal %v", sig)
			go func() {
				defer func() { _ = recover() }() // the end comes all the same, and silence stops the rig
				stop(why)
			}()
			fmt.Fprintf(errs, "trunnion: %v: the rig is told to stop, the record is kept\n", sig)
			cancel(&session.Stopped{Why: why})
		}
		select {
		case <-done:
		case <-time.After(patience):
			os.Exit(exitFailed)
		case <-signals:
			os.Exit(exitFailed)
		}
	}()
	return func() {
		signal.Stop(signals)
		close(done)
	}
}
