package client

import (
	"errors"
	"fmt"

	"trunnion/link"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// ForgottenError says that a Watch was to start with a sample that is not kept
// any more.
type ForgottenError struct {
	From   units.Instant // what was asked for
	Oldest units.Instant // what is kept
}

func (e *ForgottenError) Error() string {
	return fmt.Sprintf("the samples of %.1f s ago are not kept any more: watch while it happens", e.Oldest.Sub(e.From).Seconds())
}

// MisuseError says that a call makes no sense. It is a fault of the caller.
type MisuseError struct {
	Call string
	What string
}

func (e *MisuseError) Error() string {
	return fmt.Sprintf("%s: %s; this is a fault in the program, please report it", e.Call, e.What)
}

// stoppedRefusal is a refusal because of a latched stop. It is both errors.
type stoppedRefusal struct {
	*bench.StoppedError
	refused *bench.RefusedError
}

func (e *stoppedRefusal) Unwrap() []error { return []error{e.StoppedError, e.refused} }

// linkError is what a Conn said, with the name of the connection. An error that
// is none of ours means a lost connection.
func linkError(op, name string, err error) *link.Error {
	var e *link.Error
	if !errors.As(err, &e) {
		return &link.Error{Op: op, Port: name, Kind: link.Gone, Err: err}
	}
	if e.Port == "" && name != "" {
		named := *e
		named.Port = name
		return &named
	}
	return e
}
