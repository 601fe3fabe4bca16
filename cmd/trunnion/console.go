package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"golang.org/x/term"
	"trunnion/tui"
	"trunnion/tuning/session"
)

// console is the full-screen program. Without a terminal the demo is run
// headless, and that is said; a real rig is not.
func console(args []string, out, errs io.Writer) int {
	var o options
	f := o.flags("console", errs)
	unattended := f.Bool("unattended", false, "the rig may move with nobody at the keys; otherwise it is parked after some minutes without one")
	done, err := parse(f, args, errs)
	if done {
		return exitDone
	}
	if err == nil {
		err = o.check()
	}
	if err != nil {
		fmt.Fprintln(errs, "trunnion:", err)
		return exitUsage
	}
	if !term.IsTerminal(int(os.Stdin.Fd())) || !term.IsTerminal(int(os.Stdout.Fd())) {
		if o.port != "" {
			fmt.Fprintln(errs, "trunnion: there is no terminal for the console; without one a real rig is run by \"trunnion run\", with --arm")
			return exitUsage
		}
		fmt.Fprintln(out, "no terminal here, so that the whole job is run without one (\"trunnion run\")")
		return runHeadless(o, out, errs)
	}
	err = showConsole(o, *unattended)
	var usage *usageError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &usage):
		fmt.Fprintln(errs, "trunnion:", err)
		return exitUsage
	}
	fmt.Fprintln(errs, "trunnion:", err)
	return exitFailed
}

// showConsole sits down at the rig and shows the screen until it ends.
func showConsole(o options, unattended bool) error {
	if pace, err := o.paceFactor(1); err != nil {
		return err
	} else if math.IsInf(pace, 1) {
		return &usageError{"--pace max leaves nothing to look at; name a factor, such as 20"}
	}
	r, _, err := o.description()
	if err != nil {
		return err
	}
	feed := tui.NewFeed(r)
	s, err := sit(o, 1, listeners{event: feed.Event, sample: feed.Sample})
	if err != nil {
		return err
	}
	feed.Seed(s.session.Document()) // what a run that is gone on with had found
	ctx, cancel := context.WithCancelCause(context.Background())
	defer cancel(nil)
	off := onSignal(io.Discard, s.stop, cancel)
	defer off()
	shown := tui.Run(ctx, tui.Options{
		In: os.Stdin, Out: os.Stdout, Feed: feed, Actions: &actions{s.session, s}, Unattended: unattended,
		OnGone: func() { s.stop("the terminal has gone") },
	})
	err = errors.Join(shown, s.saveCalibration(), s.close())
	fmt.Fprintf(os.Stdout, "results in %s\n", s.dir)
	if len(s.session.Document().Axes) > 0 && shown != nil {
		fmt.Fprintf(os.Stdout, "to go on: trunnion --resume %q; where joints stand is known as long as the controller keeps its power, otherwise say it anew with --stands-at\n", s.dir)
	}
	return err
}

// actions are the session's, with the calibration saved after every task.
type actions struct {
	*session.Session
	sitting *sitting
}

// RunTask runs a task and saves.
func (a *actions) RunTask(ctx context.Context, axis int, task session.Task) error {
	err := a.Session.RunTask(ctx, axis, task)
	return errors.Join(err, a.sitting.saveCalibration())
}

// Run runs what is left and saves.
func (a *actions) Run(ctx context.Context) error { return a.sitting.run(ctx) }
