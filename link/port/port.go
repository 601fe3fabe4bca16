// Package port opens a serial port as a link.Conn.
//
// It hides what the serial library does not promise. A read that waits in vain
// gives (0, nil). Close frees a waiting Read and never races it for the file
// descriptor. The far side going away gives link.Gone, our own Close gives
// link.Closed. Writing never blocks the caller: frames go to a goroutine of
// their own, a frame that the line does not take within a quarter of a second
// is dropped with everything behind it, so that no stale command can move
// anything later, and one urgent frame overtakes all others. A second program
// on the same port is turned away with link.Busy.
//
// It knows nothing of frames, except that 0x00 ends one, and does not wait for
// a controller to boot: the client's hello does, since only an answer shows
// that the boot is over.
//
// A Port may be used from several goroutines, with one Read at a time. Only
// this package imports the serial library.
//
// Opening a port raises its modem lines, at which many boards restart. What can
// be avoided is avoided: the lines are left raised at Close, so that the next
// opening does not raise them anew. They cannot be kept low on opening: the
// kernel raises them before any program can say no.
package port

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"go.bug.st/serial"

	"trunnion/link"
)

// DefaultRate is the line rate at which every controller listens first, in bits
// a second.
const DefaultRate = 115200

const (
	readSlice  = 10 * time.Millisecond  // Close waits at most this long for a Read
	stallLimit = 250 * time.Millisecond // a frame takes 17 ms at 115200; a line this slow is stalled
	closeLimit = time.Second            // the system may hang in closing a dead adapter
	queueLimit = 64                     // frames; the client has one request under way at a time
)

// Options of Open. The nought value is right for most boards.
type Options struct {
	Rate int // bits a second; 0 is DefaultRate

	// LowerLines lowers the modem lines DTR and RTS after opening, for a board
	// that they hold in reset. Boards with USB of their own often send nothing
	// then. It is ignored on a port without modem lines.
	LowerLines bool
}

// Port is an open serial port.
type Port struct {
	path   string
	start  time.Time
	dev    device
	readMu sync.Mutex // held while reading

	mu      sync.Mutex // guards what follows
	failure error      // why the port is of no more use; latched
	queue   [][]byte   // frames not yet sent
	urgent  []byte     // overtakes the queue
	sending bool       // a frame is under way
	stalled error      // to be told to the next Write

	wake   chan struct{} // something to send
	done   chan struct{} // closed by Close
	writer chan struct{} // closed when the writing goroutine has ended
}

// device is the port of the operating system.
type device interface {
	// read waits for at most wait; (0, nil) means nothing came.
	read(p []byte, wait time.Duration) (int, error)
	// write sends what the line takes within wait.
	write(p []byte, wait time.Duration) (int, error)
	// waiting is how many written bytes have not left.
	waiting() int
	// discard drops them.
	discard()
	setRate(bitsPerSecond int) error
	close() error
}

// Open opens the serial port at path, which may be a symbolic link. Its error
// is a *link.Error of kind NoSuchPort, NotAPort, Busy or NoPermission.
func Open(path string, o Options) (*Port, error) {
	if o.Rate == 0 {
		o.Rate = DefaultRate
	}
	real, err := checkPath(path)
	if err != nil {
		return nil, err
	}
	dev, err := openDevice(path, real, o)
	if err != nil {
		return nil, err
	}
	return newPort(path, dev), nil
}

func newPort(path string, dev device) *Port {
	p := &Port{
		path: path, dev: dev, start: time.Now(),
		wake: make(chan struct{}, 1), done: make(chan struct{}), writer: make(chan struct{}),
	}
	go p.write()
	return p
}

// checkPath follows links and sees whether a device is there, before anything
// is opened that might restart a board.
func checkPath(path string) (string, error) {
	if path == "" {
		return "", &link.Error{Op: "open", Kind: link.NoSuchPort, Detail: "no name was given"}
	}
	real, err := filepath.EvalSymlinks(path)
	if err == nil {
		var info os.FileInfo
		if info, err = os.Stat(real); err == nil && info.Mode()&os.ModeCharDevice == 0 {
			return "", &link.Error{Op: "open", Port: path, Kind: link.NotAPort}
		}
	}
	if err != nil {
		return "", openError(path, err)
	}
	return real, nil
}

// openError sorts what the system or the serial library said.
func openError(path string, err error) *link.Error {
	e := &link.Error{Op: "open", Port: path, Kind: link.NotAPort, Err: err}
	var se *serial.PortError
	switch {
	case errors.As(err, &se) && se.Code() == serial.PortBusy, isBusy(err):
		e.Kind, e.Err = link.Busy, nil
	case errors.As(err, &se) && se.Code() == serial.PortNotFound:
		e.Kind, e.Err = link.NoSuchPort, nil
	case errors.As(err, &se) && se.Code() == serial.PermissionDenied, errors.Is(err, os.ErrPermission):
		e.Kind, e.Err = link.NoPermission, nil
	case errors.Is(err, os.ErrNotExist), isNoDevice(err):
		e.Kind, e.Err = link.NoSuchPort, nil
	}
	switch e.Kind {
	case link.NoPermission:
		e.Detail = owner(path)
	case link.Busy:
		e.Detail = holder(path)
	}
	return e
}

// String is the path that was opened.
func (p *Port) String() string { return p.path }

// Now is the monotonic time since the port was opened.
func (p *Port) Now() time.Duration { return time.Since(p.start) }

// Read implements link.Conn.
func (p *Port) Read(b []byte, wait time.Duration) (int, error) {
	p.readMu.Lock()
	defer p.readMu.Unlock()
	deadline := time.Now().Add(wait)
	for {
		if err := p.failed(); err != nil {
			return 0, err
		}
		began := time.Now()
		slice := min(max(deadline.Sub(began), 0), readSlice)
		n, err := p.dev.read(b, slice)
		switch {
		case err != nil:
			return 0, p.fail("read", link.Gone, err)
		case n > 0 && n <= len(b): // the library once returned -1
			return n, nil
		case !time.Now().Before(deadline):
			return 0, nil
		case time.Since(began) < slice/2: // came back early with nothing: do not spin
			time.Sleep(time.Millisecond)
		}
	}
}

// SetRate implements link.RateChanger.
func (p *Port) SetRate(bitsPerSecond int) error {
	p.readMu.Lock()
	defer p.readMu.Unlock()
	if err := p.failed(); err != nil {
		return err
	}
	if !p.drained(stallLimit) {
		return &link.Error{Op: "change the line rate", Port: p.path, Kind: link.Stalled}
	}
	if err := p.dev.setRate(bitsPerSecond); err != nil {
		return &link.Error{Op: "change the line rate", Port: p.path, Kind: link.NotAPort, Err: err}
	}
	return nil
}

// Close implements link.Conn. It returns within about a second even where the
// system hangs in closing.
func (p *Port) Close() error {
	p.mu.Lock()
	select {
	case <-p.done:
		p.mu.Unlock()
		return nil
	default:
	}
	lost := p.failure != nil
	if !lost {
		p.failure = &link.Error{Op: "use", Port: p.path, Kind: link.Closed}
	}
	close(p.done)
	p.mu.Unlock()

	ended := make(chan error, 1)
	go p.end(ended)
	select {
	case err := <-ended:
		if err != nil && !lost {
			return &link.Error{Op: "close", Port: p.path, Kind: link.Gone, Err: err}
		}
		return nil
	case <-time.After(closeLimit):
		return &link.Error{Op: "close", Port: p.path, Kind: link.Stalled}
	}
}

// end closes the device when nobody uses it any more.
func (p *Port) end(ended chan<- error) {
	defer func() {
		if r := recover(); r != nil {
			ended <- fmt.Errorf("panic: %v", r)
		}
	}()
	<-p.writer
	p.readMu.Lock()
	defer p.readMu.Unlock()
	ended <- p.dev.close()
}

// failed returns why the port is of no more use, or nil.
func (p *Port) failed() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.failure
}

// fail latches the first failure and returns it: an error after our own Close
// is a consequence of it.
func (p *Port) fail(op string, kind link.Kind, err error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failure == nil {
		p.failure = &link.Error{Op: op, Port: p.path, Kind: kind, Err: err}
	}
	return p.failure
}
