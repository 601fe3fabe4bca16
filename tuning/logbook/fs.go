package logbook

import (
	"io"
	"time"
)

// FS is what the logbook needs of a file system. Paths are handed on as the caller gave them, joined with a slash.
// Errors are *FileError or *HeldError where the cause is known; the logbook makes a *FileError of any other, and
// understands fs.ErrExist, fs.ErrNotExist and fs.ErrPermission.
type FS interface {
	// MakeDir makes one folder, which must not exist yet.
	MakeDir(path string) error
	// Create makes a file, which must not exist yet, for appending.
	Create(path string) (File, error)
	// OpenAppend opens a file that exists for appending.
	OpenAppend(path string) (File, error)
	// Open opens a file that exists for reading.
	Open(path string) (Source, error)
	// Rename gives a file a new name in one step, replacing what had that name.
	Rename(from, to string) error
	// Remove takes a file away.
	Remove(path string) error
	// Names lists a folder, sorted.
	Names(dir string) ([]string, error)
	// SyncDir returns once the names in a folder are on the disk.
	SyncDir(dir string) error
	// Lock takes the lock file at path, or returns a *HeldError that says who has it. Closing gives it back; so does
	// the end of the process. since is what others are told.
	Lock(path string, since time.Time) (io.Closer, error)
}

// File is a file open for appending. Write hands all bytes over in one call to the operating system.
type File interface {
	io.Writer
	io.Closer
	// Truncate cuts the file to a length.
	Truncate(size int64) error
	// Sync returns once everything written is on the disk.
	Sync() error
}

// Source is a file open for reading, with its length when it was opened.
type Source interface {
	io.ReaderAt
	io.Closer
	Size() int64
}

// readAll reads a whole file.
func readAll(fsys FS, path string) ([]byte, error) {
	source, err := fsys.Open(path)
	if err != nil {
		return nil, fileError("open", path, err)
	}
	defer source.Close()
	data := make([]byte, source.Size())
	n, err := source.ReadAt(data, 0)
	if n < len(data) && err != nil && err != io.EOF {
		return nil, fileError("read", path, err)
	}
	return data[:n], nil
}
