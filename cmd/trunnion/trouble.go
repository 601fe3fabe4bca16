package main

import (
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"trunnion/tuning/bench"
)

// programFault is a panic of the program.
type programFault struct {
	value any
	stack []byte
}

func (e *programFault) Error() string {
	return fmt.Sprintf("a fault in the program itself: %v; the rig was told to stop; start again, and report the fault with this text", e.value)
}

// guarded runs f in this goroutine. A panic in it stops the rig, which ends the
// running task, and is kept for close to tell.
func (s *sitting) guarded(f func()) {
	defer func() {
		if r := recover(); r != nil {
			fault := &programFault{r, debug.Stack()}
			s.fault.CompareAndSwap(nil, fault)
			s.stop(fault.Error())
		}
	}()
	f()
}

// rescue is deferred where a panic would end the program with the rig as it is.
func (s *sitting) rescue(errs io.Writer, code *int) {
	r := recover()
	if r == nil {
		return
	}
	fault := &programFault{r, debug.Stack()}
	s.guarded(func() { s.stop(fault.Error()) })
	s.guarded(func() { _ = s.close() })
	fmt.Fprintf(errs, "trunnion: %v\n%s\n", fault, fault.stack)
	*code = exitFailed
}

// andAlso joins what went wrong on the way out to what went wrong before,
// without what that has told already.
func andAlso(err error, more error) error {
	if err == nil || more == nil {
		return errors.Join(err, more)
	}
	parts := []error{more}
	if joined, ok := more.(interface{ Unwrap() []error }); ok {
		parts = joined.Unwrap()
	}
	for _, part := range parts {
		var silent, before *bench.SilentError
		told := strings.Contains(err.Error(), part.Error()) || errors.As(part, &silent) && errors.As(err, &before)
		if !told {
			err = errors.Join(err, part)
		}
	}
	return err
}
