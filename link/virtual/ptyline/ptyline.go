// Package ptyline opens a pseudo-terminal that looks like a serial line, for
// virtual.Serve. It is apart, so that the virtual rig itself needs no terminal.
//
// The far end is opened by its Path, as a serial port is, any number of times
// one after the other. It is raw from the start, so that bytes pass unchanged.
//
// It works where there are pseudo-terminals; elsewhere Open fails. A Line may be
// used from several goroutines.
package ptyline

import (
	"fmt"
	"os"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"
)

// Line is the near end of a pseudo-terminal.
type Line struct {
	near *os.File
	far  *os.File // kept open, or reading the near end would fail whenever nobody is there
}

// Error says why there is no pseudo-terminal.
type Error struct {
	Op  string
	Err error
}

func (e *Error) Error() string {
	return fmt.Sprintf("%s a pseudo-terminal: %v; this system has none to give, use the virtual rig inside the program", e.Op, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }

// Open opens a pseudo-terminal. Its error is an *Error.
func Open() (*Line, error) {
	near, far, err := pty.Open()
	if err != nil {
		return nil, &Error{Op: "open", Err: err}
	}
	l := &Line{near: near, far: far}
	if l.near, err = wakeable(near); err != nil {
		l.near = near
		l.Close()
		return nil, &Error{Op: "prepare", Err: err}
	}
	if _, err := term.MakeRaw(int(far.Fd())); err != nil {
		l.Close()
		return nil, &Error{Op: "prepare", Err: err}
	}
	return l, nil
}

// Path is the far end's, to be opened as a serial port.
func (l *Line) Path() string { return l.far.Name() }

// Read reads what was written at the far end.
func (l *Line) Read(p []byte) (int, error) { return l.near.Read(p) }

// Write writes to the far end. It blocks when nobody has read there for long.
func (l *Line) Write(p []byte) (int, error) { return l.near.Write(p) }

// SetDeadline ends reads and writes at a time.
func (l *Line) SetDeadline(t time.Time) error { return l.near.SetDeadline(t) }

// Close closes both ends and frees a read that waits.
func (l *Line) Close() error {
	err := l.near.Close()
	if e := l.far.Close(); err == nil {
		err = e
	}
	return err
}
