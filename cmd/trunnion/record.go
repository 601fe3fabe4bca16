package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/pflag"
	"trunnion/tuning/logbook"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// resultsFolder is where runs go that are not told otherwise.
const resultsFolder = "trunnion-results"

// runFolder is a new folder for a run: the one asked for, or one named for the
// rig and the time.
func runFolder(asked string, r rig.Rig, now time.Time) (string, error) {
	dir := asked
	if dir == "" {
		dir = filepath.Join(resultsFolder, plainName(r.Name), now.Format("2006-01-02 15.04.05"))
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return "", fmt.Errorf("results folder: %w; name another one with --out", err)
	}
	if _, err := os.Stat(dir); err == nil {
		for n := 2; asked == ""; n++ {
			if other := fmt.Sprintf("%s (%d)", dir, n); missing(other) {
				return other, nil
			}
		}
		return "", fmt.Errorf("results folder %s exists already; a run never writes into an old one: name a new one with --out", dir)
	}
	return dir, nil
}

func missing(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, os.ErrNotExist)
}

// plainName keeps letters, digits and hyphens, so that the name is one folder
// on any file system.
func plainName(name string) string {
	plain := make([]rune, 0, len(name))
	for _, c := range name {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-':
			plain = append(plain, c)
		case len(plain) > 0 && plain[len(plain)-1] != '-':
			plain = append(plain, '-')
		}
	}
	if len(plain) == 0 {
		return "rig"
	}
	return string(plain)
}

// readRun opens a record for a replay, or to go on with it.
func readRun(dir string) ([]session.Sitting, logbook.Recovery, error) {
	record, recovery, err := logbook.Open(logbook.OSFS{}, dir)
	if err != nil {
		return nil, recovery, err
	}
	defer record.Close()
	sittings, err := sittingsOf(record)
	return sittings, recovery, err
}

// sittingsOf cuts a record at its openings.
func sittingsOf(record *logbook.Record) ([]session.Sitting, error) {
	var sittings []session.Sitting
	var starts []uint64 // samples recorded before each opening
	for _, e := range record.Events {
		switch e.Kind {
		case string(session.Opened):
			sittings = append(sittings, session.Sitting{})
			starts = append(starts, e.Samples)
		case "record", "resumed", "closed": // the logbook's own
			continue
		}
		if n := len(sittings); n > 0 {
			sittings[n-1].Events = append(sittings[n-1].Events, session.RecordedEvent{Kind: session.Kind(e.Kind), Payload: e.Payload})
		}
	}
	for i := range sittings {
		end := record.Samples.Reach()
		if i+1 < len(starts) {
			end = starts[i+1]
		}
		var err error
		if sittings[i].Samples, err = record.Samples.ByPosition(starts[i], end); err != nil {
			return nil, err
		}
	}
	return sittings, nil
}

// replay runs a recorded run through today's code.
func replay(args []string, out, errs io.Writer) int {
	f := pflag.NewFlagSet("replay", pflag.ContinueOnError)
	f.SetOutput(errs)
	jsonOut := f.Bool("json", false, "print the calibration as JSON instead of a summary")
	f.Usage = func() { fmt.Fprintf(errs, "trunnion replay [FLAGS] FOLDER\n\n%s", f.FlagUsages()) }
	if err := f.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return exitDone
		}
		fmt.Fprintln(errs, "trunnion replay:", err)
		return exitUsage
	}
	if f.NArg() != 1 {
		fmt.Fprintln(errs, "trunnion replay: name one folder of a recorded run")
		return exitUsage
	}
	recorded, recovery, err := readRun(f.Arg(0))
	if err != nil {
		fmt.Fprintln(errs, "trunnion replay:", err)
		return exitFailed
	}
	if damage := recovery.Err(f.Arg(0)); damage != nil {
		fmt.Fprintln(errs, "trunnion replay:", damage)
	}
	document, err := session.Replay(context.Background(), recorded, nil)
	if *jsonOut {
		text, encodeErr := document.Encode()
		if encodeErr != nil {
			fmt.Fprintln(errs, "trunnion replay:", encodeErr)
			return exitFailed
		}
		_, _ = out.Write(text)
	} else {
		summary(out, document)
	}
	if err != nil {
		fmt.Fprintln(errs, "trunnion replay:", err)
		return exitFailed
	}
	return exitDone
}

// verify examines a record.
func verify(args []string, out, errs io.Writer) int {
	if len(args) == 1 && (args[0] == "--help" || args[0] == "-h") {
		fmt.Fprintln(out, "trunnion verify FOLDER\n\nExamines the record of a run for damage. Changes nothing.")
		return exitDone
	}
	if len(args) != 1 {
		fmt.Fprintln(errs, "trunnion verify FOLDER\n\nExamines the record of a run for damage. Changes nothing.")
		return exitUsage
	}
	report := logbook.Verify(logbook.OSFS{}, args[0])
	fmt.Fprintln(out, report.Full())
	if report.Err != nil || report.Recovery.Err(args[0]) != nil {
		return exitFailed
	}
	return exitDone
}
