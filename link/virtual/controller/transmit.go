package controller

import "trunnion/link/wire"

// answerRoom is how many bytes of answers and notices wait for the line at most.
// One that finds no room is lost, as on a bad line: the host asks again, and the
// state stands in every sample.
const answerRoom = 2048

// transmitter is what waits to be sent. Answers and notices go before samples,
// but a frame that has begun is finished first.
type transmitter struct {
	answers []byte // whole frames
	head    int    // of answers that is already sent
	sampled []byte // the sample that is being sent
	place   int    // of it that is already sent
	waiting []byte // the sample after it; empty if there is none
	begun   within
}

// within says of which kind the frame is that has begun to go out.
type within uint8

const (
	nothing within = iota
	anAnswer
	aSample
)

// answer queues the bytes of an answer or a notice.
func (t *transmitter) answer(line []byte) {
	if t.head > 0 && t.head == len(t.answers) {
		t.answers, t.head = t.answers[:0], 0
	}
	if len(t.answers)-t.head+len(line) > answerRoom {
		return
	}
	if t.head > answerRoom {
		t.answers, t.head = append(t.answers[:0], t.answers[t.head:]...), 0
	}
	t.answers = append(t.answers, line...)
}

// sampleFits reports whether there is room for a sample: the one before it has at
// least begun to leave.
func (t *transmitter) sampleFits() bool { return len(t.waiting) == 0 }

func (t *transmitter) sample(number uint16, m *wire.Sample) {
	line, err := wire.Encode(t.waiting[:0], wire.Frame{Number: number, Message: m})
	if err == nil { // what the controller fills in always encodes
		t.waiting = line
	}
}

// empty reports whether nothing waits.
func (t *transmitter) empty() bool {
	return t.begun == nothing && t.head == len(t.answers) && len(t.waiting) == 0
}

// next takes the next byte for the line.
func (t *transmitter) next() (b byte, any bool) {
	if t.begun == nothing {
		switch {
		case t.head < len(t.answers):
			t.begun = anAnswer
		case len(t.waiting) > 0:
			t.sampled, t.waiting, t.place = t.waiting, t.sampled[:0], 0
			t.begun = aSample
		default:
			return 0, false
		}
	}
	if t.begun == anAnswer {
		b = t.answers[t.head]
		t.head++
	} else {
		b = t.sampled[t.place]
		t.place++
	}
	if b == 0 {
		t.begun = nothing
	}
	return b, true
}

// Next takes the next byte that the controller sends; false if there is none.
func (c *Controller) Next() (byte, bool) { return c.out.next() }
