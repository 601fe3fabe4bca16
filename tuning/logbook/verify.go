package logbook

import (
	"fmt"
	"strings"
	"time"
)

// Verdict sums up a record.
type Verdict int

// Verdicts, from best to worst.
const (
	Sound      Verdict = iota // closed, and nothing lacks
	CutOff                    // being written, or ended by a crash; nothing that was on the disk lacks
	Damaged                   // something that was on the disk lacks
	Unreadable                // not even the first line can be read, or it is no record, or of another format
)

func (v Verdict) String() string {
	if v < 0 || v > Unreadable {
		return "unknown"
	}
	return [...]string{"sound", "cut off", "damaged", "unreadable"}[v]
}

// Report is what Verify found.
type Report struct {
	Dir         string
	Header      Header
	Events      int
	Samples     uint64
	Connections int
	First, Last time.Time // wall times of the first and last event
	Recovery    Recovery
	SetAside    []string // copies of torn tails that a resume left
	Leftovers   []string // temporary files that a crash left; they may be removed
	Err         error    // what kept the record from being read; nil or typed as for Open
}

// Verify reads all of a record and reports. It changes nothing and takes no lock.
func Verify(fsys FS, dir string) Report {
	report := Report{Dir: dir}
	record, recovery, err := Open(fsys, dir)
	if err != nil {
		report.Err = err
		return report
	}
	report.Header, report.Recovery = record.Header, recovery
	report.Events = len(record.Events)
	report.First, report.Last = record.Events[0].Wall, record.Events[report.Events-1].Wall
	report.Samples = record.Samples.Count()
	report.Connections = len(record.Samples.Connections())
	names, err := fsys.Names(dir)
	if err != nil {
		err = fileError("list", dir, err)
	}
	for _, name := range names {
		switch {
		case strings.HasPrefix(name, eventsTailName+"-"), strings.HasPrefix(name, samplesTailName+"-"):
			report.SetAside = append(report.SetAside, name)
		case isBeside(name):
			report.Leftovers = append(report.Leftovers, name)
		}
	}
	if closeErr := record.Close(); err == nil {
		err = closeErr
	}
	report.Err = err
	return report
}

// Verdict sums the report up.
func (r Report) Verdict() Verdict {
	switch {
	case r.Events == 0 || r.Err != nil:
		return Unreadable
	case r.Recovery.Err(r.Dir) != nil:
		return Damaged
	case !r.Recovery.Clean():
		return CutOff
	}
	return Sound
}

// Brief is one line.
func (r Report) Brief() string {
	if r.Verdict() == Unreadable {
		return fmt.Sprintf("%s: unreadable: %v", r.Dir, r.Err)
	}
	return fmt.Sprintf("%s: %v, %d events, %d samples", r.Dir, r.Verdict(), r.Events, r.Samples)
}

// Full is the whole report, several lines.
func (r Report) Full() string {
	lines := []string{r.Brief()}
	if r.Events > 0 {
		const layout = "2006-01-02 15:04:05 -07:00"
		lines = append(lines,
			fmt.Sprintf("by %s, rig %s, %d counters, %d axes", r.Header.Software, r.Header.RigHash, r.Header.Counters, r.Header.Axes),
			fmt.Sprintf("from %s to %s, %d connections", r.First.Format(layout), r.Last.Format(layout), r.Connections),
			r.Recovery.String())
	}
	for _, name := range r.SetAside {
		lines = append(lines, "set aside by a resume: "+name)
	}
	for _, name := range r.Leftovers {
		lines = append(lines, "left over from a crash, may be removed: "+name)
	}
	return strings.Join(lines, "\n")
}
