package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"

	"github.com/spf13/pflag"
	"trunnion/fixtures/machines"
	"trunnion/link/virtual"
	"trunnion/link/virtual/ptyline"
)

// emulate serves the virtual rig on a pseudo-terminal and prints its path, so
// that the whole way over a serial line can be gone without hardware.
func emulate(args []string, out, errs io.Writer) int {
	var o options
	f := pflag.NewFlagSet("emulate", pflag.ContinueOnError)
	f.SetOutput(errs)
	f.StringVar(&o.demo, "demo", "trolley", "which virtual rig: "+strings.Join(machines.Names(), ", "))
	f.StringVar(&o.pace, "pace", "", "factor of real time; the program's watch over the line counts in real time, so that little above 1 works")
	f.Uint64Var(&o.seed, "seed", 1, "of the virtual rig's noise")
	done, err := parse(f, args, errs)
	if done {
		return exitDone
	}
	pace := 1.0
	if err == nil {
		pace, err = o.paceFactor(1)
	}
	if err == nil && math.IsInf(pace, 1) {
		err = &usageError{"--pace max cannot be served on a line: it has no clock but the wall's"}
	}
	if err != nil {
		fmt.Fprintln(errs, "trunnion emulate:", err)
		return exitUsage
	}
	if err := serve(o, pace, out, errs); err != nil {
		fmt.Fprintln(errs, "trunnion emulate:", err)
		var usage *usageError
		if errors.As(err, &usage) {
			return exitUsage
		}
		return exitFailed
	}
	return exitDone
}

// serve plays the rig until a signal.
func serve(o options, pace float64, out, errs io.Writer) error {
	rig, _, err := virtualRig(o.demo, o.seed)
	if err != nil {
		return err
	}
	line, err := ptyline.Open()
	if err != nil {
		return err
	}
	defer line.Close()
	stop := make(chan struct{})
	var once sync.Once
	off := onSignal(io.Discard, func(string) {}, func(error) { once.Do(func() { close(stop) }) })
	defer off()
	fmt.Fprintln(out, line.Path())
	fmt.Fprintf(errs, "serving the virtual rig %q, %s, seed %d; end it with ctrl-c\n", o.demo, paceWords(pace), o.seed)
	return virtual.Serve(rig, line, virtualPace(pace), stop)
}
