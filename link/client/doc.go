// Package client speaks to a bench controller over a link.Conn and offers it as
// bench.Bench and bench.Safety.
//
// Dial shakes hands and returns a Client. From then on it keeps the connection
// alive, numbers, repeats and matches requests, unwraps samples, keeps the last
// of them for Watch, and gives every one of them to an observer. It knows the
// protocol and nothing of serial ports or rigs.
//
// One code is driven in two ways. Live, a goroutine of the client reads the
// connection and callers wait for it. Synchronous, there is no goroutine: each
// call that waits reads the connection itself, so that over a virtual
// connection, whose time passes inside Read, a run is the same each time and as
// fast as the machine allows; nothing happens while nobody waits.
//
// A request is sent at most four times, 100 ms apart, always with the same
// number, so that the controller moves nothing twice. One is under way at a
// time. Stop is the exception: it overtakes whatever is under way or waiting,
// and what it overtook has an older number and is refused.
//
// All methods may be called from any goroutine. One mutex guards the state of
// the connection and is never held during input, output or a callback.
package client

import "time"

// Times, by the connection's clock. PROTOCOL.md asks for those marked with a
// section.
const (
	repeatAfter  = 100 * time.Millisecond // a request without an answer is sent again (14)
	mostSends    = 4                      // of a request (14)
	heartbeat    = 100 * time.Millisecond // the controller stops after 300 ms without a frame (14)
	stopRepeat   = 20 * time.Millisecond  // a stop without an answer is sent again (15)
	mostStops    = 25                     // sends of a stop: half a second
	silenceLimit = time.Second            // without word a waiting call gives up
	lostAfter    = 30 * time.Minute       // of silence, after which the controller's clock may have wrapped unseen (5)
	readWait     = 10 * time.Millisecond  // the longest read
	fullWait     = 20 * time.Millisecond  // before a set-point is offered again to a full queue
	rateSettle   = 10 * time.Millisecond  // after a change of line rate, before the first frame (11.5)
	rateFallBack = 600 * time.Millisecond // of silence, after which the controller is back at the first line rate (11.5)
)

// Times of the handshake. A board that the opening of its port restarted may
// sit in a boot loader that waits for a program and goes on waiting for as long
// as bytes come. So the hellos pause for longer than its patience, about a
// second on the common ones (from memory, not measured).
const (
	helloRepeat = 100 * time.Millisecond // (15)
	helloBurst  = 3                      // hellos before the pause
	helloPause  = 2 * time.Second
	bootWait    = 5 * time.Second // in all, unless the options say otherwise
)
