package wire

import (
	"fmt"

	"trunnion/tuning/bench"
)

// Fault says what is wrong with bytes that were received, or with a message
// that was to be sent.
type Fault uint8

// Faults of a frame, which is dropped and counted and never answered; then
// faults of a message in a good frame, which a controller refuses.
const (
	FaultNone    Fault = iota
	FaultCOBS          // the frame is not COBS
	FaultShort         // it is shorter than type, number and checksum
	FaultLong          // it is longer than MaxFrame
	FaultCRC           // the checksum differs
	FaultType          // no message has this type
	FaultLength        // the payload is shorter or longer than its message
	FaultValue         // a field has an impossible value
	FaultNumber        // this message may not carry this number
	FaultVersion       // a hello of another major version
	FaultShape         // a sample before it was known how many counters and axes it has
	FaultRange         // a quantity does not fit its field
)

var faultNames = [...]string{"none", "cobs", "short", "long", "crc", "type", "length", "value", "number", "version", "shape", "range"}

// String is the word by which the vectors call the fault.
func (f Fault) String() string {
	if int(f) >= len(faultNames) {
		return fmt.Sprintf("fault %d", uint8(f))
	}
	return faultNames[f]
}

// BadFrame is an error about bytes that are no frame. Its number and type are
// not known, so nothing can be answered.
type BadFrame struct {
	Fault  Fault
	Length int // bytes between two delimiters, as received; at least so many if Fault is FaultLong
}

func (e *BadFrame) Error() string {
	return fmt.Sprintf("a frame of %d bytes was dropped: %s; if this goes on, look at cable, ground and line rate", e.Length, badFrameTexts[e.Fault])
}

var badFrameTexts = map[Fault]string{
	FaultCOBS: "it is broken inside", FaultShort: "it is too short", FaultLong: "it is too long", FaultCRC: "its checksum differs",
}

// Malformed is an error about a good frame whose message cannot be used. A
// controller answers it with a refusal for Reason.
type Malformed struct {
	Type   Type
	Number uint16
	Fault  Fault
	Detail int // received payload length; for FaultVersion the major version that was asked for
}

func (e *Malformed) Error() string {
	if e.Fault == FaultVersion {
		return fmt.Sprintf("hello for protocol version %d, but this side speaks %d: bring tool and controller to one version", e.Detail, Major)
	}
	return fmt.Sprintf("%v message number %d with %d bytes of payload cannot be used (%v): tool and controller differ, compare their versions", e.Type, e.Number, e.Detail, e.Fault)
}

// Reason is why a controller refuses the message.
func (e *Malformed) Reason() bench.Reason {
	switch e.Fault {
	case FaultType:
		return bench.ReasonUnknown
	case FaultVersion:
		return bench.ReasonVersion
	}
	return bench.ReasonMalformed
}

// Refusal is the answer that a controller gives to the message.
func (e *Malformed) Refusal() Refuse {
	detail := int32(e.Detail)
	if e.Fault == FaultVersion {
		detail = Major
	}
	return Refuse{Request: e.Type, Reason: e.Reason(), Detail: detail}
}

// RangeError is a quantity that its field on the wire cannot hold.
type RangeError struct {
	Field string
	Value float64 // in the unit that the field's name states
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s of %g cannot be sent: the protocol has no room for it; choose a smaller value", e.Field, e.Value)
}
