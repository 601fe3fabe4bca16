package faults

import (
	"io"
	"sync"
	"time"

	"trunnion/link/virtual/ptyline"
	"trunnion/link/wire"
)

// seen is a frame that passed the tap.
type seen struct {
	at    int64 // us of the rig's clock
	wall  time.Time
	frame wire.Frame
	err   error // it was spoiled
}

// flow is one direction of the line through the tap. It cuts the bytes after
// every delimiter, so that whole frames can be lost, doubled or held back.
type flow struct {
	sent, got wire.Decoder // before and after what is done to the frames
	held      []byte       // begun and not ended
	spoil     func(chunk []byte) []byte
	out       []seen // as they were sent
	in        []seen // as they came out of the tap
}

// pass returns what comes out of the tap for what goes in.
func (f *flow) pass(p []byte, at int64) []byte {
	var out []byte
	for _, b := range p {
		f.held = append(f.held, b)
		if b != 0 {
			continue
		}
		chunk := f.held
		f.held = nil
		note(&f.out, &f.sent, chunk, at)
		if f.spoil != nil {
			chunk = f.spoil(chunk)
		}
		note(&f.in, &f.got, chunk, at)
		out = append(out, chunk...)
	}
	return out
}

func note(list *[]seen, d *wire.Decoder, chunk []byte, at int64) {
	for _, r := range d.Feed(chunk) {
		*list = append(*list, seen{at, time.Now(), r.Frame, r.Err})
	}
}

// tap is the rig's end of the line, looked into.
type tap struct {
	line *ptyline.Line
	time func() int64 // us of the rig's clock

	mu               sync.Mutex // guards what follows
	toBoard, toHost  flow
	pending          []byte // for the board
	unplugged, ended bool
	end              chan struct{}
}

func newTap(line *ptyline.Line, clock func() int64) *tap {
	return &tap{line: line, time: clock, end: make(chan struct{})}
}

// Read gives the board what the host sent.
func (t *tap) Read(p []byte) (int, error) {
	buffer := make([]byte, 256)
	for {
		t.mu.Lock()
		n := copy(p, t.pending)
		t.pending = t.pending[n:]
		t.mu.Unlock()
		if n > 0 {
			return n, nil
		}
		n, err := t.line.Read(buffer)
		t.mu.Lock()
		t.pending = append(t.pending, t.toBoard.pass(buffer[:n], t.time())...)
		gone, ended := t.unplugged, t.ended
		t.mu.Unlock()
		switch {
		case ended:
			return 0, io.EOF
		case err != nil && gone: // the board lives on without a host
			<-t.end
			return 0, io.EOF
		case err != nil:
			return 0, err
		}
	}
}

// Write gives the host what the board sent.
func (t *tap) Write(p []byte) (int, error) {
	t.mu.Lock()
	out := t.toHost.pass(p, t.time())
	gone := t.unplugged
	t.mu.Unlock()
	if gone {
		return len(p), nil
	}
	if _, err := t.line.Write(out); err != nil {
		t.mu.Lock()
		defer t.mu.Unlock()
		if t.unplugged {
			return len(p), nil
		}
		return 0, err
	}
	return len(p), nil
}

// SetDeadline is how Serve ends a read that waits.
func (t *tap) SetDeadline(at time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.ended {
		t.ended = true
		close(t.end)
	}
	if t.unplugged {
		return nil
	}
	return t.line.SetDeadline(at)
}

// unplug takes the pseudo-terminal away from under the host.
func (t *tap) unplug() {
	t.mu.Lock()
	t.unplugged = true
	t.mu.Unlock()
	_ = t.line.Close()
}

// spoil has f change every frame of one way, with its delimiter, from now on;
// nil lets them pass.
func (t *tap) spoil(toHost bool, f func(chunk []byte) []byte) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if toHost {
		t.toHost.spoil = f
	} else {
		t.toBoard.spoil = f
	}
}

// sent and received are the frames that the host has sent, and those of them
// that came through to the board whole.
func (t *tap) sent() []seen     { return t.copy(&t.toBoard.out) }
func (t *tap) received() []seen { return t.copy(&t.toBoard.in) }

func (t *tap) copy(list *[]seen) []seen {
	t.mu.Lock()
	defer t.mu.Unlock()
	return append([]seen(nil), *list...)
}
