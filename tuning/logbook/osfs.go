package logbook

import (
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"syscall"
	"time"
)

// OSFS is the file system of the computer.
type OSFS struct{}

const (
	fileMode   fs.FileMode = 0o644
	folderMode fs.FileMode = 0o755
)

// MakeDir implements FS.
func (OSFS) MakeDir(path string) error {
	return osError("make folder", path, os.Mkdir(path, folderMode))
}

// Create implements FS.
func (OSFS) Create(path string) (File, error) {
	return openFile("create", path, os.O_WRONLY|os.O_APPEND|os.O_CREATE|os.O_EXCL)
}

// OpenAppend implements FS.
func (OSFS) OpenAppend(path string) (File, error) {
	return openFile("open", path, os.O_WRONLY|os.O_APPEND)
}

func openFile(op, path string, flags int) (File, error) {
	f, err := os.OpenFile(path, flags, fileMode)
	if err != nil {
		return nil, osError(op, path, err)
	}
	return osFile{f}, nil
}

// osFile names the errors of an os.File.
type osFile struct{ f *os.File }

func (o osFile) Write(p []byte) (int, error) {
	n, err := o.f.Write(p)
	return n, osError("write", o.f.Name(), err)
}

func (o osFile) Truncate(size int64) error {
	return osError("cut", o.f.Name(), o.f.Truncate(size))
}

func (o osFile) Sync() error  { return osError("sync", o.f.Name(), o.f.Sync()) }
func (o osFile) Close() error { return osError("close", o.f.Name(), o.f.Close()) }

// Open implements FS.
func (OSFS) Open(path string) (Source, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, osError("open", path, err)
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, osError("open", path, err)
	}
	return osSource{f, info.Size()}, nil
}

type osSource struct {
	*os.File
	size int64
}

func (s osSource) Size() int64 { return s.size }

// Rename implements FS.
func (OSFS) Rename(from, to string) error { return osError("rename", to, os.Rename(from, to)) }

// Remove implements FS.
func (OSFS) Remove(path string) error { return osError("remove", path, os.Remove(path)) }

// Names implements FS.
func (OSFS) Names(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, osError("list", dir, err)
	}
	names := make([]string, len(entries))
	for i, entry := range entries {
		names[i] = entry.Name()
	}
	return names, nil
}

// SyncDir implements FS. Where a file system cannot sync a folder and says so, its names are taken as kept.
func (OSFS) SyncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return osError("open", dir, err)
	}
	defer f.Close()
	err = f.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, errors.ErrUnsupported) {
		return nil
	}
	return osError("sync folder", dir, err)
}

// Lock implements FS. Where the kernel keeps locks, the lock is the kernel's and ends with the process; the text in
// the file only says who has it. Elsewhere the file itself is the lock.
func (OSFS) Lock(path string, since time.Time) (io.Closer, error) {
	flags := os.O_RDWR | os.O_CREATE
	if !kernelLocks {
		flags |= os.O_EXCL
	}
	f, err := os.OpenFile(path, flags, fileMode)
	if !kernelLocks && errors.Is(err, fs.ErrExist) {
		return nil, heldError(path)
	}
	if err != nil {
		return nil, osError("lock", path, err)
	}
	if err := tryLock(f.Fd()); err != nil {
		f.Close()
		if errors.Is(err, errHeld) {
			return nil, heldError(path)
		}
		return nil, osError("lock", path, err)
	}
	if err := signLock(f, since); err != nil {
		f.Close()
		return nil, osError("lock", path, err)
	}
	return osLock{f}, nil
}

// signLock writes who has the lock.
func signLock(f *os.File, since time.Time) error {
	host, err := os.Hostname()
	if err != nil {
		host = "unknown host"
	}
	text, err := json.Marshal(Holder{PID: os.Getpid(), Host: host, Since: since.Round(0)})
	if err != nil {
		return err
	}
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err = f.WriteAt(append(text, '\n'), 0)
	return err
}

func heldError(path string) error {
	held := &HeldError{Path: path, Stale: !kernelLocks}
	if text, err := os.ReadFile(path); err == nil {
		// A lock that is being signed just now leaves the holder unknown.
		if json.Unmarshal(text, &held.Holder) != nil {
			held.Holder = Holder{}
		}
	}
	return held
}

type osLock struct{ f *os.File }

// Close gives the lock back. With kernel locks the file stays, so that nobody locks a file without a name.
func (l osLock) Close() error {
	if kernelLocks {
		if err := l.f.Truncate(0); err != nil {
			l.f.Close()
			return osError("unlock", l.f.Name(), err)
		}
		return osError("unlock", l.f.Name(), l.f.Close())
	}
	return osError("unlock", l.f.Name(), errors.Join(l.f.Close(), os.Remove(l.f.Name())))
}

// osError sorts what the operating system said.
func osError(op, path string, err error) error {
	if err == nil {
		return nil
	}
	// The operation and the path are said once.
	var onPath *fs.PathError
	var onLink *os.LinkError
	if errors.As(err, &onPath) {
		err = onPath.Err
	} else if errors.As(err, &onLink) {
		err = onLink.Err
	}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return &FileError{Op: op, Path: path, Kind: DiskFull, Err: err}
	case errors.Is(err, syscall.EROFS):
		return &FileError{Op: op, Path: path, Kind: ReadOnly, Err: err}
	}
	return fileError(op, path, err)
}
