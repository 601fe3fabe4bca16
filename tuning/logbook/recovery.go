package logbook

import (
	"fmt"
	"path"
	"strings"
)

// Tail is an unreadable end of a file with nothing good in it, as a crash leaves behind.
type Tail struct {
	Offset int64 `json:"offset"` // where it begins, or would begin
	Bytes  int64 `json:"bytes"`  // 0 is no tail
}

// Damage is a place where a file cannot be read and good records follow. A crash does not do that to what was synced.
type Damage struct {
	File   string // its name in the folder
	Offset int64
	Length int64  // bytes; 0 where records are missing and nothing is in their place
	Lost   uint64 // samples or events lost; 0 where that is not known, since the damage goes up to the end
	Good   uint64 // good records behind it that are of no use: events not in order, differences from lost samples
}

// Recovery says what a record lacks.
type Recovery struct {
	// Closed is set where the record was ended on purpose. Otherwise it is being written, or the process or the
	// computer went down, or the record was cut.
	Closed bool

	EventsTail  Tail
	SamplesTail Tail

	// Corrupt lists damage in the order of the files. At most one is in the events.
	Corrupt []Damage
	// After holds good events found behind damage. They may lack others between them.
	After []Event
	// Missing is how many samples are not there at the end though a durable event says that they were synced.
	Missing uint64
	// SamplesErr is set where samples.bin cannot be read at all: *FileError, *VersionError or *CorruptError.
	SamplesErr error
}

// Clean reports whether the record was closed and lacks nothing.
func (r Recovery) Clean() bool { return r.Closed && r.Torn() == 0 && !r.corrupt() }

// Torn is how many bytes of torn tails there are.
func (r Recovery) Torn() int64 { return r.EventsTail.Bytes + r.SamplesTail.Bytes }

func (r Recovery) corrupt() bool {
	return len(r.Corrupt) > 0 || r.Missing > 0 || r.SamplesErr != nil
}

// Err is nil where the record lacks nothing but what a crash takes, and else a *CorruptError for the first damage or
// what kept samples.bin from being read.
func (r Recovery) Err(dir string) error {
	switch {
	case len(r.Corrupt) > 0:
		d := r.Corrupt[0]
		return &CorruptError{Path: path.Join(dir, d.File), Offset: d.Offset, What: d.what()}
	case r.SamplesErr != nil:
		return r.SamplesErr
	case r.Missing > 0:
		return &CorruptError{Path: path.Join(dir, samplesName), Offset: r.SamplesTail.Offset, What: r.missing()}
	}
	return nil
}

func (d Damage) what() string {
	text := fmt.Sprintf("%d bytes cannot be read", d.Length)
	if d.Length == 0 {
		text = "records are missing"
	}
	things := "samples"
	if d.File == eventsName {
		things = "events"
	}
	if d.Lost > 0 {
		text += fmt.Sprintf(", %d %s lost", d.Lost, things)
	}
	if d.Good > 0 {
		text += fmt.Sprintf(", %d good %s behind them hang in the air", d.Good, things)
	}
	return text
}

func (r Recovery) missing() string {
	return fmt.Sprintf("%d samples that were synced are not there", r.Missing)
}

// String says in a few lines what the record lacks.
func (r Recovery) String() string {
	var lines []string
	if !r.Closed {
		lines = append(lines, "not closed: it is being written, or was cut off by a crash")
	}
	for _, t := range []struct {
		file string
		Tail
	}{{eventsName, r.EventsTail}, {samplesName, r.SamplesTail}} {
		if t.Bytes > 0 {
			lines = append(lines, fmt.Sprintf("%s: torn end of %d bytes at byte %d, as a crash leaves", t.file, t.Bytes, t.Offset))
		}
	}
	for _, d := range r.Corrupt {
		lines = append(lines, fmt.Sprintf("%s: damaged at byte %d: %s", d.File, d.Offset, d.what()))
	}
	if r.Missing > 0 {
		lines = append(lines, samplesName+": "+r.missing())
	}
	if r.SamplesErr != nil {
		lines = append(lines, r.SamplesErr.Error())
	}
	if len(lines) == 0 {
		return "closed, nothing lacks"
	}
	return strings.Join(lines, "\n")
}
