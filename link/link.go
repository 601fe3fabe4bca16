// Package link holds what every connection to a bench controller has in
// common, real or virtual: the Conn through which bytes pass and the Error
// that tells what went wrong with it and what to do.
//
// It imports nothing but the standard library, so that the virtual rig can
// offer a Conn without knowing of serial ports. The messages that the bytes
// make up are in link/wire, the serial port is in link/port, and the client
// that speaks to a controller over any Conn is in link/client.
package link

import "time"

// Conn is one connection to a controller. Read belongs to one goroutine at a
// time; Write, Now and Close may be called from any goroutine at any time.
type Conn interface {
	// Read fills p with what has arrived, waiting for the first byte for at
	// most wait on the connection's own clock. It returns (0, nil) when wait
	// passed without a byte, and an *Error when the connection is lost.
	Read(p []byte, wait time.Duration) (n int, err error)

	// Write hands over the whole of p, to be sent after what was handed over
	// before. It takes a copy and does not wait for the line. After an error
	// some of p may have been sent.
	Write(p []byte) error

	// Now is the connection's clock: monotonic time since it was opened, or
	// virtual time that passes inside Read.
	Now() time.Duration

	// Close ends the connection and frees a Read that is waiting. It may be
	// called twice.
	Close() error
}

// UrgentWriter is a Conn on which one frame can overtake all others.
type UrgentWriter interface {
	// WriteUrgent sends p as soon as the line takes a byte. What was handed
	// over before and has not left yet is dropped, perhaps in the middle of a
	// frame; a delimiter is put before p, so that a cut frame cannot spoil it.
	WriteUrgent(p []byte) error
}

// RateChanger is a Conn whose line rate can change while it is open.
type RateChanger interface {
	// SetRate changes to so many bits a second, once what was handed over has
	// left. What arrives meanwhile may be lost.
	SetRate(bitsPerSecond int) error
}
