package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
	"trunnion/fixtures/machines"
	"trunnion/fixtures/rigs"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// options of a sitting, common to console and headless run.
type options struct {
	rigFile   string
	port      string
	demo      string
	pace      string
	seed      uint64
	out       string
	resume    string
	arm       bool
	clearStop bool
	standsAt  []string
	rate      int
	lineRate  int
}

// flags makes the flag set of a command that sits at a rig.
func (o *options) flags(name string, errs io.Writer) *pflag.FlagSet {
	f := pflag.NewFlagSet(name, pflag.ContinueOnError)
	f.SetOutput(errs)
	f.StringVar(&o.rigFile, "rig", "", "rig file (TOML); needed with --port")
	f.StringVar(&o.port, "port", "", "serial port of the bench controller; without it the virtual rig is used")
	f.StringVar(&o.demo, "demo", "trolley", "which virtual rig: "+strings.Join(machines.Names(), ", "))
	f.StringVar(&o.pace, "pace", "", "how fast virtual time passes: a factor of real time, or max")
	f.Uint64Var(&o.seed, "seed", 1, "of the virtual rig's noise")
	f.StringVar(&o.out, "out", "", "folder for the results; the default is a new one below trunnion-results")
	f.StringVar(&o.resume, "resume", "", "folder of an interrupted run to go on with, from its last finished reading")
	f.StringArrayVar(&o.standsAt, "stands-at", nil, "where a joint stands now, measured from its datum, such as \"lift=200\"; its whole travel may then be used; may be repeated")
	f.IntVar(&o.rate, "sample-rate", 100, "samples a second")
	f.IntVar(&o.lineRate, "line-rate", 0, "line rate to negotiate, bits a second; 0 stays at 115200")
	return f
}

// usageError is a flag that makes no sense.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

// parse reads flags; done says that help was asked for and given.
func parse(f *pflag.FlagSet, args []string, errs io.Writer) (done bool, err error) {
	f.Usage = func() { fmt.Fprintf(errs, "trunnion %s [FLAGS]\n\n%s", f.Name(), f.FlagUsages()) }
	err = f.Parse(args)
	if errors.Is(err, pflag.ErrHelp) {
		return true, nil
	}
	if err == nil && f.NArg() > 0 {
		err = fmt.Errorf("%q is not understood; flags begin with --", f.Arg(0))
	}
	if err != nil {
		return false, &usageError{err.Error()}
	}
	return false, nil
}

// check refuses values that make no sense.
func (o *options) check() error {
	switch {
	case o.rate < 10 || o.rate > 1000:
		return &usageError{fmt.Sprintf("--sample-rate %d: write 10 to 1000 samples a second", o.rate)}
	case o.lineRate != 0 && (o.lineRate < 115200 || o.lineRate > 4000000):
		return &usageError{fmt.Sprintf("--line-rate %d: write 0, or a rate from 115200 bits a second on", o.lineRate)}
	case o.resume != "" && o.out != "":
		return &usageError{"--resume goes on in the folder it names; leave --out away"}
	case o.port != "" && o.rigFile == "":
		return &usageError{"--port needs --rig: the file that describes the rig behind that port"}
	}
	_, err := o.places()
	return err
}

// paceFactor is the pace as a factor of real time, +Inf for flat out.
func (o *options) paceFactor(otherwise float64) (float64, error) {
	switch o.pace {
	case "":
		return otherwise, nil
	case "max":
		return math.Inf(1), nil
	}
	v, err := strconv.ParseFloat(o.pace, 64)
	if err != nil || !(v > 0) || v > 1000 {
		return 0, &usageError{fmt.Sprintf("--pace %s: write a factor above 0 and up to 1000, or max", o.pace)}
	}
	return v, nil
}

// places reads the --stands-at flags.
func (o *options) places() (session.StandsAt, error) {
	places := session.StandsAt{}
	for _, text := range o.standsAt {
		name, value, found := strings.Cut(text, "=")
		at, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if !found || err != nil || math.IsNaN(at) || math.IsInf(at, 0) {
			return nil, &usageError{fmt.Sprintf("--stands-at %q: write the joint's name, = and a number in its unit, such as lift=200", text)}
		}
		places[strings.TrimSpace(name)] = at
	}
	return places, nil
}

// description reads the rig file, or the demo's.
func (o *options) description() (rig.Rig, []byte, error) {
	if o.rigFile == "" {
		if o.port != "" {
			return rig.Rig{}, nil, &usageError{"--port needs --rig: the file that describes the rig behind that port"}
		}
		text, err := rigs.Text(o.demo)
		if err != nil {
			return rig.Rig{}, nil, &usageError{fmt.Sprintf("--demo %s: there is none of that name; there are %s", o.demo, strings.Join(rigs.Names(), ", "))}
		}
		r, err := rig.Parse(o.demo+".toml", text)
		return r, text, err
	}
	text, err := os.ReadFile(o.rigFile)
	if err != nil {
		return rig.Rig{}, nil, fmt.Errorf("rig file: %w; name an existing file with --rig", err)
	}
	r, err := rig.Parse(filepath.Base(o.rigFile), text)
	return r, text, err
}
