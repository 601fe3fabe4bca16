package virtual

import "math/rand/v2"

// path is one direction of the serial line. Times are nanoseconds.
type path struct {
	queue []byte // handed over and not yet arrived
	head  int    // of queue that has arrived
	free  int64  // when the byte before has left, or the next one may begin
	rate  int    // of the sender, baud

	random  *rand.Rand
	cut     bool // bytes vanish
	losing  int  // so many bytes to come vanish
	garble  int  // so many come as other ones
	doubled int  // so many come twice
}

// byteTime is what a byte takes on the line: start bit, eight bits, stop bit.
func (p *path) byteTime() int64 { return 10_000_000_000 / int64(p.rate) }

// waiting is how many bytes were handed over and have not arrived.
func (p *path) waiting() int { return len(p.queue) - p.head }

// send hands bytes over at a time.
func (p *path) send(now int64, b []byte) {
	if p.waiting() == 0 {
		p.queue, p.head = p.queue[:0], 0
		p.free = max(p.free, now)
	}
	p.queue = append(p.queue, b...)
}

// drop forgets what has not begun to leave.
func (p *path) drop() { p.queue, p.head = p.queue[:0], 0 }

// arrive appends to dst what has arrived by a time at a receiver that is set to
// a rate.
func (p *path) arrive(dst []byte, now int64, receiver int) []byte {
	for p.waiting() > 0 && p.free+p.byteTime() <= now {
		p.free += p.byteTime()
		dst = p.spoil(dst, p.queue[p.head], receiver)
		p.head++
	}
	return dst
}

// spoil appends what becomes of a byte on its way.
func (p *path) spoil(dst []byte, b byte, receiver int) []byte {
	switch {
	case p.cut:
		return dst
	case p.losing > 0:
		p.losing--
		return dst
	case p.garble > 0:
		p.garble--
		return append(dst, b^byte(1+p.random.IntN(255)))
	case 50*abs(p.rate-receiver) > receiver: // 2 %: half a bit in a byte is lost from 5 % on
		return append(dst, byte(p.random.IntN(256)))
	case p.doubled > 0:
		p.doubled--
		dst = append(dst, b)
	}
	return append(dst, b)
}

func abs(n int) int { return max(n, -n) }
