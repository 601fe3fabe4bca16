// Package wire is the bytes on the line between the tool and a bench
// controller: frames, messages, and the check of both. PROTOCOL.md beside it
// says what every byte and every message means; this package follows it and
// adds nothing.
//
// A sender gives Encode a Frame and writes what it gets. A receiver keeps one
// Decoder for each line, feeds it whatever bytes arrive, in pieces of any size,
// and gets whole frames, or the reason why a frame was none. The package does
// no input or output and knows no clock.
//
// Values are the integers of the wire at its scales, with the unit in the
// field's name; the functions named ...From and the methods named Bench lead to
// the types of tuning/bench and back. It is not a client: it neither numbers
// requests, nor repeats them, nor knows which message is allowed when.
//
// A Decoder and an Unwrapper belong to one goroutine at a time. All else is
// pure functions and plain values. Slices in a decoded message are its own.
//
// Sources: the framing is COBS, S. Cheshire and M. Baker, "Consistent Overhead
// Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999. The check is
// the CRC-16 catalogued as CRC-16/IBM-3740.
package wire
