package logbook

import (
	"errors"
	"fmt"
	"io/fs"
	"time"
)

// ErrClosed is returned by a Writer after Close.
var ErrClosed = errors.New("the record is closed: resume it to go on")

// Kind sorts what can go wrong with a file.
type Kind int

// Kinds of trouble with a file.
const (
	Failing  Kind = iota // the disk or the file system reports an error
	DiskFull             // no room, or the quota is used up
	ReadOnly             // mounted read-only, or not permitted
	Missing              // no such file or folder
	Exists               // the name is taken
)

var kindTexts = [...]struct{ what, remedy string }{
	Failing:  {"the disk reports an error", "copy the record to another disk and go on there"},
	DiskFull: {"the disk is full", "make room, then resume the record"},
	ReadOnly: {"writing is not allowed there", "choose another folder, or look at its permissions and how the disk is mounted"},
	Missing:  {"it is not there", "look at the path"},
	Exists:   {"the name is taken", "choose another name; a record is never overwritten"},
}

func (k Kind) String() string {
	if k < 0 || int(k) >= len(kindTexts) {
		return "unknown"
	}
	return kindTexts[k].what
}

// FileError is trouble with a file or folder.
type FileError struct {
	Op   string // what was tried: create, write, sync, ...
	Path string
	Kind Kind
	Err  error // what the file system said
}

func (e *FileError) Error() string {
	remedy := ""
	if e.Kind >= 0 && int(e.Kind) < len(kindTexts) {
		remedy = "; " + kindTexts[e.Kind].remedy
	}
	return fmt.Sprintf("%s %s: %v (%v)%s", e.Op, e.Path, e.Kind, e.Err, remedy)
}

// Unwrap returns what the file system said.
func (e *FileError) Unwrap() error { return e.Err }

// fileError makes a typed error of whatever a file system returned, and leaves typed ones as they are.
func fileError(op, path string, err error) error {
	var file *FileError
	var held *HeldError
	if err == nil || errors.As(err, &file) || errors.As(err, &held) {
		return err
	}
	kind := Failing
	switch {
	case errors.Is(err, fs.ErrNotExist):
		kind = Missing
	case errors.Is(err, fs.ErrExist):
		kind = Exists
	case errors.Is(err, fs.ErrPermission):
		kind = ReadOnly
	}
	return &FileError{Op: op, Path: path, Kind: kind, Err: err}
}

// isKind reports whether err is a FileError of a kind.
func isKind(err error, kind Kind) bool {
	var file *FileError
	return errors.As(err, &file) && file.Kind == kind
}

// Holder is who writes a record.
type Holder struct {
	PID   int       `json:"pid"`
	Host  string    `json:"host"`
	Since time.Time `json:"since"`
}

// HeldError says that another instance writes the record.
type HeldError struct {
	Path   string // of the lock file
	Holder Holder // PID is 0 where the other one has not said who it is
	// Stale is set on systems whose locks outlive a killed process.
	Stale bool
}

func (e *HeldError) Error() string {
	who := "another instance"
	if e.Holder.PID != 0 {
		who = fmt.Sprintf("process %d on %s, since %s,", e.Holder.PID, e.Holder.Host, e.Holder.Since.Format("2006-01-02 15:04:05 -07:00"))
	}
	text := fmt.Sprintf("%s is writing this record (%s): end it first; reading is possible meanwhile", who, e.Path)
	if e.Stale {
		text += "; if it no longer runs, remove that file"
	}
	return text
}

// VersionError says that a record is of a format that this software does not know.
type VersionError struct {
	Path  string
	Found int
	Known int
}

func (e *VersionError) Error() string {
	return fmt.Sprintf("%s has format %d and this software reads format %d: use a newer version; the record was not touched", e.Path, e.Found, e.Known)
}

// CorruptError says that a record is damaged where a crash cannot have done it.
type CorruptError struct {
	Path   string
	Offset int64 // first byte that cannot be trusted
	What   string
}

func (e *CorruptError) Error() string {
	return fmt.Sprintf("%s is damaged at byte %d: %s; keep a copy of the folder, suspect the disk, and start a new record", e.Path, e.Offset, e.What)
}

// NotRecordError says that a folder holds no record, or one that was cut off before its first line was complete.
type NotRecordError struct {
	Dir  string
	What string
}

func (e *NotRecordError) Error() string {
	return fmt.Sprintf("%s holds no record: %s; start a new one in another folder", e.Dir, e.What)
}

// EventError says that an event cannot be recorded as it is. Nothing was written.
type EventError struct {
	Kind string // of the event
	What string
}

func (e *EventError) Error() string {
	return fmt.Sprintf("the event %q cannot be recorded: %s; this is a fault in the program, report it", e.Kind, e.What)
}

// SampleError says that a sample cannot be recorded exactly. Nothing was written.
type SampleError struct {
	Sequence uint64
	What     string
}

func (e *SampleError) Error() string {
	return fmt.Sprintf("sample %d cannot be recorded exactly: %s; this is a fault in the program, report it", e.Sequence, e.What)
}

// GapError says that samples of the span asked for are lost. The trace that comes with it holds the others.
type GapError struct {
	Path   string
	Offset int64  // where in the file
	Lost   uint64 // how many are lost; 0 where that is not known
}

func (e *GapError) Error() string {
	lost := "samples"
	if e.Lost > 0 {
		lost = fmt.Sprintf("%d samples", e.Lost)
	}
	return fmt.Sprintf("%s: %s are lost at byte %d: take the reading anew if it needs them", e.Path, lost, e.Offset)
}
