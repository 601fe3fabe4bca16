package screenout

import (
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// Sequences around the frames.
const (
	enter = "\x1b[?1049h\x1b[?25l\x1b[?2004h"
	// leave starts with a string terminator, so that a sequence that a stall cut
	// short does not swallow what follows.
	leave     = "\x1b\\\x1b[m\x1b[?2004l\x1b[?25h\x1b[?1049l"
	leaveBare = "\r\n"
)

// Deadliner is a writer whose writes can be cut short.
type Deadliner interface{ SetWriteDeadline(time.Time) error }

// ErrStalled says that the terminal would not read to the last, so that it may
// still show the program's screen.
var ErrStalled = errors.New("the terminal does not read; it may need a reset")

// Output puts frames on a terminal. All methods may be called from any
// goroutine.
type Output struct {
	w     io.Writer
	bare  bool
	flush func() // throws away what the terminal has not read
	done  chan struct{}
	fault chan error // one error at most

	mu      sync.Mutex
	wake    *sync.Cond
	newest  *canvas.Canvas
	repaint bool
	closing bool

	writing atomic.Int64 // since when a write is under way, unix ns; 0 is none
	written atomic.Uint64
	differ  differ // the writer's own
}

// New makes an output. flush, which may be nil, throws away what the terminal has
// been sent and has not read.
func New(w io.Writer, t theme.Theme, bare bool, flush func()) *Output {
	o := &Output{w: w, bare: bare, flush: flush, done: make(chan struct{}), fault: make(chan error, 1), differ: differ{theme: t, x: -1, y: -1}}
	o.wake = sync.NewCond(&o.mu)
	return o
}

// Start takes the terminal and begins to write.
func (o *Output) Start() { go o.write() }

// Show makes a frame the newest. The caller must not change it any more. It
// never blocks.
func (o *Output) Show(frame *canvas.Canvas) {
	o.mu.Lock()
	o.newest = frame
	o.mu.Unlock()
	o.wake.Signal()
}

// Redraw sends the next frame whole, for a terminal that something else wrote to.
func (o *Output) Redraw() {
	o.mu.Lock()
	o.repaint = true
	o.mu.Unlock()
	o.wake.Signal()
}

// Fault tells of the error that ended the writing, if one did.
func (o *Output) Fault() <-chan error { return o.fault }

// Stalled is how long the terminal has been keeping a write waiting.
func (o *Output) Stalled(now time.Time) time.Duration {
	since := o.writing.Load()
	if since == 0 {
		return 0
	}
	return now.Sub(time.Unix(0, since))
}

// Written is how many bytes the terminal took.
func (o *Output) Written() uint64 { return o.written.Load() }

// Close stops writing and gives the terminal back. If a write is still under way
// after half of the limit, it is cut short and what was not read is thrown away.
func (o *Output) Close(limit time.Duration) error {
	o.mu.Lock()
	o.closing = true
	o.mu.Unlock()
	o.wake.Signal()
	if o.ended(limit / 2) {
		return nil
	}
	if d, ok := o.w.(Deadliner); ok {
		_ = d.SetWriteDeadline(time.Now())
	}
	if o.ended(limit / 2) {
		return nil
	}
	return ErrStalled
}

func (o *Output) ended(limit time.Duration) bool {
	select {
	case <-o.done:
		return true
	case <-time.After(limit):
		return false
	}
}

// write is the goroutine that writes.
func (o *Output) write() {
	defer close(o.done)
	defer func() {
		if r := recover(); r != nil {
			o.fault <- fmt.Errorf("screenout: a fault in the program itself: %v", r)
		}
	}()
	if !o.bare && !o.send([]byte(enter)) {
		o.giveBack()
		return
	}
	for {
		frame, ok := o.next()
		if !ok || !o.send(o.differ.frame(frame)) {
			o.giveBack()
			return
		}
	}
}

// next waits for a frame; false is the end.
func (o *Output) next() (*canvas.Canvas, bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for o.newest == nil && !o.closing && !(o.repaint && o.differ.w > 0) {
		o.wake.Wait()
	}
	if o.closing {
		return nil, false
	}
	frame := o.newest
	o.newest = nil
	if frame == nil {
		frame = o.again()
	}
	if o.repaint {
		o.repaint = false
		o.differ.forget()
	}
	return frame, true
}

// again is what the terminal shows, as a frame.
func (o *Output) again() *canvas.Canvas {
	frame := canvas.New(o.differ.w, o.differ.h, nil)
	for y := range frame.H {
		copy(frame.Row(y), o.differ.shown[y*frame.W:])
	}
	return frame
}

// send writes all of b and reports whether the terminal took it.
func (o *Output) send(b []byte) bool {
	if len(b) == 0 {
		return true
	}
	o.writing.Store(time.Now().UnixNano())
	n, err := o.w.Write(b)
	o.writing.Store(0)
	o.written.Add(uint64(n))
	if err != nil {
		select {
		case o.fault <- err:
		default:
		}
	}
	return err == nil
}

// leaveTime is enough for a terminal that reads.
const leaveTime = 100 * time.Millisecond

// giveBack writes the last sequences, with what was not read thrown away where
// the terminal had stalled.
func (o *Output) giveBack() {
	if d, ok := o.w.(Deadliner); ok {
		if len(o.fault) > 0 && o.flush != nil {
			o.flush()
		}
		_ = d.SetWriteDeadline(time.Now().Add(leaveTime))
	}
	last := leave
	if o.bare {
		last = leaveBare
	}
	_, _ = io.WriteString(o.w, last)
}
