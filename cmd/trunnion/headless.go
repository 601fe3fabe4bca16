package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"trunnion/link/port"
	"trunnion/tuning/finding"
)

// headless does everything without a terminal, one line an event.
func headless(args []string, out, errs io.Writer) int {
	var o options
	f := o.flags("run", errs)
	f.BoolVar(&o.clearStop, "clear-stop", false, "take the latch off a stop from before; see first why it stopped")
	f.BoolVar(&o.arm, "arm", false, "arm the rig at the start; a real rig is not moved without it")
	done, err := parse(f, args, errs)
	if done {
		return exitDone
	}
	if err == nil {
		err = o.check()
	}
	if err == nil {
		err = refuseUnarmed(o)
	}
	if err != nil {
		fmt.Fprintln(errs, "trunnion run:", err)
		return exitUsage
	}
	return runHeadless(o, out, errs)
}

// refuseUnarmed keeps a real rig at rest until somebody says otherwise.
func refuseUnarmed(o options) error {
	if o.port != "" && !o.arm {
		return &usageError{"a real rig is not moved without --arm: see that nobody is near it, that the hard switch is within reach, then add --arm"}
	}
	return nil
}

// runHeadless is the run itself, also for the default command without a
// terminal.
func runHeadless(o options, out, errs io.Writer) (code int) {
	ctx, cancel := context.WithCancelCause(context.Background())
	defer cancel(nil)
	l := lines{out: out}
	s, err := sit(o, math.Inf(1), listeners{event: l.event})
	if err != nil {
		fmt.Fprintln(errs, "trunnion run:", err)
		var usage *usageError
		if errors.As(err, &usage) {
			return exitUsage
		}
		return exitFailed
	}
	off := onSignal(errs, s.stop, cancel)
	defer off()
	defer s.rescue(errs, &code)
	fmt.Fprintf(out, "connected to %s; results go to %s\n", s.where, s.dir)
	if o.clearStop {
		err = s.session.Clear(ctx)
	}
	if err == nil {
		err = s.session.Arm(ctx)
	}
	if isStopped(err) && !o.clearStop {
		err = fmt.Errorf("%w (once you have seen why and it is safe: --clear-stop)", err)
	}
	if err == nil {
		err = s.run(ctx)
	}
	document := s.session.Document()
	err = andAlso(err, s.close())
	summary(out, document)
	fmt.Fprintf(out, "\nresults in %s\n", s.dir)
	if err != nil {
		return failed(err, out, errs)
	}
	if n := countFindings(document); n > 0 {
		fmt.Fprintf(out, "findings to look at: %d\n", n)
		return exitFindings
	}
	return exitDone
}

// failed tells why a run did not come to its end. A finding that ended it is
// something to look at on the machine, not a failure of the program.
func failed(err error, out, errs io.Writer) (code int) {
	fmt.Fprintln(errs, "trunnion run:", err)
	var found *finding.Error
	if !errors.As(err, &found) {
		return exitFailed
	}
	printFinding(out, found.Finding)
	return exitFindings
}

// ports lists the serial ports.
func ports(_ []string, out, errs io.Writer) int {
	list, err := port.List()
	if err != nil {
		fmt.Fprintln(errs, "trunnion ports:", err)
		return exitFailed
	}
	if len(list) == 0 {
		fmt.Fprintln(out, "no serial port found; plug the controller in")
		return exitDone
	}
	for _, p := range list {
		fmt.Fprintln(out, p)
	}
	return exitDone
}
