package bench

import (
	"fmt"

	"trunnion/tuning/units"
)

// StoppedError says that the rig is stopped, latched, and why.
type StoppedError struct {
	Cause Cause
	At    units.Instant
}

func (e *StoppedError) Error() string {
	return fmt.Sprintf("the rig stopped: %v; see why, make it safe, then clear the stop", e.Cause)
}

// GuardTripped says that a guard cut the drive.
type GuardTripped struct {
	At units.Instant
}

func (e *GuardTripped) Error() string {
	return "a guard cut the drive: the output went farther or longer than this step allows"
}

// NotReached says that a Watch gave up waiting.
type NotReached struct {
	Waited float64 // seconds
}

func (e *NotReached) Error() string {
	return fmt.Sprintf("what was waited for did not happen in %.1f s", e.Waited)
}

// RefusedError is a command the controller would not carry out.
type RefusedError struct {
	Command string
	Reason  Reason
	Detail  int
}

func (e *RefusedError) Error() string {
	return fmt.Sprintf("the controller refused to %s: %v (detail %d)", e.Command, e.Reason, e.Detail)
}

// Reason of a refusal.
type Reason uint8

// Reasons, numbered as on the wire.
const (
	ReasonNone        Reason = iota
	ReasonUnknown            // the message type is not known
	ReasonMalformed          // the payload has the wrong length or an impossible value
	ReasonStale              // the request number is older than one already served
	ReasonVersion            // the protocol's major version differs
	ReasonNotArmed           // motion was asked for while safe
	ReasonStopped            // the stop is latched
	ReasonMoving             // not while anything moves
	ReasonNoSuch             // no axis, counter or output of that number
	ReasonPulseLimit         // the pulse is outside the limits of its axis
	ReasonGuardHit           // the drive stays off until guards are set anew
	ReasonNoNeutral          // needs a neutral pulse that is not known
	ReasonNoLoop             // needs a table and gains that are not loaded
	ReasonClosed             // the axis is under closed loop; release it first
	ReasonTravel             // outside a travel limit
	ReasonUnsupported        // this controller does not have it
	ReasonFull               // the queue is full, or the table too long
	ReasonTooLate            // a streamed set-point's time is past
	ReasonNoHello            // nothing is served before hello
	ReasonInputOpen          // the stop input is open
)

var reasonTexts = [...]string{
	"no reason", "it does not know this message", "the message is malformed", "the message is older than one already served",
	"it speaks another version of the protocol", "the rig is not armed", "the stop is latched", "something is moving",
	"there is no such axis, counter or output", "the pulse is outside its limits", "a guard has cut the drive",
	"no neutral pulse is known", "no table and gains are loaded", "the axis is under closed loop", "it is outside a travel limit",
	"this controller does not have that", "no room for it", "its time is past", "no hello was exchanged", "the stop input is open",
}

func (r Reason) String() string {
	if int(r) >= len(reasonTexts) {
		return fmt.Sprintf("reason %d", uint8(r))
	}
	return reasonTexts[r]
}

// SilentError says that the controller does not answer.
type SilentError struct {
	Command string
	Waited  float64 // seconds
}

func (e *SilentError) Error() string {
	return fmt.Sprintf("no answer to %s in %.1f s: a sound controller stops by itself after 0.3 s; see that the rig stands, use the hard switch if it does not, look at cable and supply, then start again", e.Command, e.Waited)
}

// RestartedError says that the controller started anew during the connection,
// so that limits, neutrals and datum are lost there.
type RestartedError struct{}

func (e *RestartedError) Error() string {
	return "the controller restarted by itself: look at its supply (brown-out?), then start again"
}
