package logbook

import (
	"io"
	"sync"
)

// appendFile is a file that is written and synced, at the same time if need be, and refuses everything once one of
// the two has failed.
type appendFile struct {
	path string
	file File

	syncing sync.Mutex // one sync at a time; taken before mu

	mu      sync.Mutex // guards:
	written int64      // length of what was handed to the operating system
	synced  int64      // length of what is on the disk
	err     error      // the first failure
}

// createFile makes a file with a first content, synced.
func createFile(fsys FS, path string, content []byte) (*appendFile, error) {
	file, err := fsys.Create(path)
	if err != nil {
		return nil, fileError("create", path, err)
	}
	f := &appendFile{path: path, file: file}
	if err := f.write(content); err != nil {
		return f, err
	}
	return f, f.sync()
}

// openAppend opens a file that is length bytes long, for writing behind them. They count as not synced: who wrote
// them may have been killed before that.
func openAppend(fsys FS, path string, length int64) (*appendFile, error) {
	file, err := fsys.OpenAppend(path)
	if err != nil {
		return nil, fileError("open", path, err)
	}
	return &appendFile{path: path, file: file, written: length, synced: -1}, nil
}

// write hands p over in one call.
func (f *appendFile) write(p []byte) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.err != nil {
		return f.err
	}
	n, err := f.file.Write(p)
	if err == nil && n < len(p) {
		err = io.ErrShortWrite
	}
	if err != nil {
		f.err = fileError("write", f.path, err)
		return f.err
	}
	f.written += int64(n)
	return nil
}

// sync returns once everything written before the call is on the disk. Writes go on meanwhile.
func (f *appendFile) sync() error {
	f.syncing.Lock()
	defer f.syncing.Unlock()
	f.mu.Lock()
	target, err := f.written, f.err
	clean := f.synced == target
	f.mu.Unlock()
	if err != nil || clean {
		return err
	}
	err = f.file.Sync()
	f.mu.Lock()
	defer f.mu.Unlock()
	if err != nil {
		// Never tried again: after a failed sync a system may call lost data synced.
		if f.err == nil {
			f.err = fileError("sync", f.path, err)
		}
		return f.err
	}
	f.synced = target
	return nil
}

// dirty reports whether something written is not synced yet.
func (f *appendFile) dirty() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.written != f.synced
}

// failed is the failure after which the file takes nothing more, or nil.
func (f *appendFile) failed() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.err
}

// kept is the length of what is known to be on the disk.
func (f *appendFile) kept() int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.synced
}

func (f *appendFile) close() error {
	return fileError("close", f.path, f.file.Close())
}
