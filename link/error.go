package link

import "strings"

// Kind says what is wrong with a connection. A Kind is itself an error, so that
// errors.Is(err, link.Busy) asks for it.
type Kind uint8

// What can be wrong with a connection.
const (
	NoSuchPort   Kind = iota + 1 // nothing of that name
	NotAPort                     // it is no serial port
	Busy                         // somebody else has it open
	NoPermission                 // this account may not open it
	Gone                         // it was there and is not any more
	Closed                       // closed by this program
	Stalled                      // the line takes no more bytes
	Silent                       // not one byte came
	Garbage                      // bytes came, but no valid frame
	Version                      // the controller speaks another version
	FewerAxes                    // the controller has less than the rig needs
	Broken                       // a fault in this program
	last
)

var kinds = [last]struct{ what, todo string }{
	NoSuchPort:   {"there is no such port", "plug the controller in, or name another port"},
	NotAPort:     {"it is not a serial port", "name a serial port"},
	Busy:         {"another program has the port open", "close that program, then start again"},
	NoPermission: {"this account may not use the port", "give the account leave to use the port (usually by adding it to the group that owns it), then log in again"},
	Gone:         {"the port is gone", "the controller stops by itself after 0.3 s; look at cable and supply, then start again"},
	Closed:       {"the port was closed", "open it again"},
	Stalled:      {"the port takes no more bytes", "the controller stops by itself after 0.3 s; look at cable and adapter, then start again"},
	Silent:       {"no answer at all", "check that the controller has power and that this is its port, then start again"},
	Garbage:      {"bytes come, but no valid frame", "check that this is the controller's port and that it speaks this protocol at this line rate"},
	Version:      {"the controller speaks another version of the protocol", "load a program of the same major version into the controller, or use the matching release of this one"},
	FewerAxes:    {"the controller has fewer axes or counters than the rig description needs", "connect the right controller, or correct the rig description"},
	Broken:       {"a fault in this program", "the rig was told to stop; start again, and report the fault with the text above"},
}

// Error is the kind in words, without place and remedy.
func (k Kind) Error() string {
	if k == 0 || k >= last {
		return "an unknown fault"
	}
	return kinds[k].what
}

// ToDo tells the person at the bench what to do about it.
func (k Kind) ToDo() string {
	if k == 0 || k >= last {
		return "start again"
	}
	return kinds[k].todo
}

// Error is what went wrong with a connection.
type Error struct {
	Op     string // what was being done, such as "open" or "hello"
	Port   string // its path; empty where it has none
	Kind   Kind
	Detail string // who or what, where that is known
	Err    error  // the cause, where there is one
}

// Error says what, where and why, and ends with what to do.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Op)
	if e.Port != "" {
		b.WriteString(" " + e.Port)
	}
	b.WriteString(": " + e.Kind.Error())
	if e.Detail != "" {
		b.WriteString(" (" + e.Detail + ")")
	}
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	b.WriteString("; " + e.Kind.ToDo())
	return b.String()
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Is reports whether target is this error's kind.
func (e *Error) Is(target error) bool {
	k, ok := target.(Kind)
	return ok && k == e.Kind
}
