package client

import (
	"slices"
	"time"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// call is a request and what becomes of it. The client's mutex guards it.
type call struct {
	command string // for errors, such as "tilt"
	message wire.Message
	urgent  bool          // it is a stop
	yields  bool          // it is the client's own and gives way to any other
	every   time.Duration // repeated after; 0 is repeatAfter
	most    int           // sends; 0 is mostSends

	number      uint16
	line        []byte // encoded
	sends       int
	first, last time.Duration // when sent

	finished bool
	answer   wire.Message
	at       units.Instant // of an ack: when it took effect, or will
	err      error
}

// calls numbers requests and matches their answers, one at a time.
type calls struct {
	number  uint16 // of the newest request
	active  *call
	waiting []*call
	repeats uint64
}

// idle reports whether no request is under way or waiting.
func (q *calls) idle() bool { return q.active == nil && len(q.waiting) == 0 }

// add queues a call, before all others or after them. What the client asked for
// itself is given up for it: a park must not wait until nobody has answered that.
func (q *calls) add(k *call, front bool) {
	if k.every == 0 {
		k.every = repeatAfter
	}
	if k.most == 0 {
		k.most = mostSends
	}
	if q.active != nil && q.active.yields {
		q.finish(q.active, nil)
	}
	at := len(q.waiting)
	if front {
		at = 0
	}
	q.waiting = slices.Insert(q.waiting, at, k)
}

// drop forgets a call: what comes for it later is taken for a late answer.
func (q *calls) drop(k *call) {
	if q.active == k {
		q.active = nil
	}
	if i := slices.Index(q.waiting, k); i >= 0 {
		q.waiting = slices.Delete(q.waiting, i, i+1)
	}
}

// finish ends a call.
func (q *calls) finish(k *call, err error) {
	q.drop(k)
	k.finished, k.err = true, err
}

// finishAll ends every call.
func (q *calls) finishAll(err error) {
	for q.active != nil {
		q.finish(q.active, err)
	}
	for len(q.waiting) > 0 {
		q.finish(q.waiting[0], err)
	}
}

// begin makes the first waiting call that can be encoded the active one.
func (q *calls) begin() {
	for q.active == nil && len(q.waiting) > 0 {
		k := q.waiting[0]
		number := wire.NextNumber(q.number)
		line, err := wire.Encode(nil, wire.Frame{Number: number, Message: k.message})
		if err != nil {
			q.finish(k, err)
			continue
		}
		q.drop(k)
		q.active, q.number = k, number
		k.number, k.line = number, line
	}
}

// send returns the frame to be sent now, or nil.
func (q *calls) send(now time.Duration) []byte {
	q.begin()
	k := q.active
	if k == nil || k.sends > 0 && now-k.last < k.every || k.sends >= k.most {
		return nil
	}
	if k.sends == 0 {
		k.first = now
	} else {
		q.repeats++
	}
	k.sends, k.last = k.sends+1, now
	return k.line
}

// expire ends the active call if its last repetition got no answer in time.
func (q *calls) expire(now time.Duration) bool {
	k := q.active
	if k == nil || k.sends < k.most || now-k.last < k.every {
		return false
	}
	q.finish(k, &bench.SilentError{Command: k.command, Waited: (now - k.first).Seconds()})
	return true
}

// due is when the active call needs attention next.
func (q *calls) due() (at time.Duration, any bool) {
	if q.active == nil {
		return 0, false
	}
	return q.active.last + q.active.every, true
}
