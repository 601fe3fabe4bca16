package main

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"trunnion/tuning/logbook"
)

// inPlace is a record that fails when its folder was removed or another one put
// in its place: the system goes on taking writes to files without a name, and
// what is printed must be in a record that somebody can find.
type inPlace struct {
	*logbook.Writer
	path string
	file fs.FileInfo
}

// stay makes a record insist on its place.
func stay(w *logbook.Writer, dir string) (*inPlace, error) {
	path := filepath.Join(dir, "events.txt")
	file, err := os.Stat(path)
	return &inPlace{w, path, file}, err
}

// Append looks for the file before it takes what must be kept.
func (r *inPlace) Append(kind string, wall time.Time, payload json.RawMessage, durable bool) (uint64, error) {
	if durable {
		if err := r.missing(); err != nil {
			return 0, err
		}
	}
	return r.Writer.Append(kind, wall, payload, durable)
}

func (r *inPlace) missing() error {
	now, err := os.Stat(r.path)
	if err == nil && os.SameFile(now, r.file) {
		return nil
	}
	if err == nil {
		err = fs.ErrNotExist
	}
	return &logbook.FileError{Op: "find", Path: r.path, Kind: logbook.Missing, Err: err}
}
