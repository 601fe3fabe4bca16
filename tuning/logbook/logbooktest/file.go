package logbooktest

import (
	"errors"
	"io"
	"slices"
)

// file is open for appending.
type file struct {
	d    *Disk
	n    *node
	name string
}

func (f *file) Write(p []byte) (int, error) {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	done, err := f.d.begin("write", f.name, len(p))
	if err == nil {
		done = len(p)
	}
	done = min(done, len(p))
	if done > 0 {
		e := edit{data: slices.Clone(p[:done])}
		f.n.data = e.apply(f.n.data, done)
		f.n.edits = append(f.n.edits, e)
	}
	if errors.Is(err, ErrShort) {
		err = nil
	}
	return done, err
}

func (f *file) Truncate(size int64) error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if _, err := f.d.begin("cut", f.name, 0); err != nil {
		return err
	}
	e := edit{size: int(size)}
	f.n.data = e.apply(f.n.data, 0)
	f.n.edits = append(f.n.edits, e)
	return nil
}

func (f *file) Sync() error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if _, err := f.d.begin("sync", f.name, 0); err != nil {
		return err
	}
	f.n.kept, f.n.edits = slices.Clip(f.n.data), nil // what is appended lies behind, and a cut makes a copy
	return nil
}

func (f *file) Close() error { return nil }

// source is open for reading.
type source struct {
	d    *Disk
	n    *node
	name string
	size int64
}

func (s *source) ReadAt(p []byte, off int64) (int, error) {
	s.d.mu.Lock()
	defer s.d.mu.Unlock()
	if _, err := s.d.begin("read", s.name, len(p)); err != nil {
		return 0, err
	}
	if off >= int64(len(s.n.data)) {
		return 0, io.EOF
	}
	n := copy(p, s.n.data[off:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

func (s *source) Size() int64  { return s.size }
func (s *source) Close() error { return nil }
