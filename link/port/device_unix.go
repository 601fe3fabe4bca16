//go:build linux || darwin || freebsd || openbsd

package port

import (
	"errors"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"trunnion/link"
)

// unixDevice is the serial library's port, beside a descriptor of our own on
// the same terminal. Ours writes without blocking, which the library's cannot:
// its write on a line that takes no more stays inside the kernel for ever. Ours
// also carries the lock.
type unixDevice struct {
	serial serial.Port
	fd     int
	mode   serial.Mode
}

// openDevice locks and opens the terminal at real. The order matters: a look
// into the table of locks first, since opening may restart the board of the
// program that has it; then the descriptor and its lock, before the library
// asks the kernel to let nobody else in.
func openDevice(path, real string, o Options) (device, error) {
	if who := locker(real); who != "" {
		return nil, &link.Error{Op: "open", Port: path, Kind: link.Busy, Detail: who}
	}
	fd, err := lockTerminal(path, real)
	if err != nil {
		return nil, err
	}
	d := &unixDevice{fd: fd, mode: serial.Mode{BaudRate: o.Rate}}
	if d.serial, err = openSerial(real, d.mode, o.LowerLines); err != nil {
		unix.Close(fd)
		return nil, openError(path, err)
	}
	_ = d.serial.ResetInputBuffer() // what came before has no meaning; a failure costs one bad frame
	return d, nil
}

// lockTerminal opens a descriptor and locks it. The lock keeps out a second
// program of ours even where that runs as root, whom the kernel lets into a
// terminal that somebody else has for himself.
func lockTerminal(path, real string) (int, error) {
	fd, err := unix.Open(real, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return -1, openError(path, err)
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); errors.Is(err, unix.EWOULDBLOCK) {
		unix.Close(fd)
		return -1, &link.Error{Op: "open", Port: path, Kind: link.Busy, Detail: holder(real)}
	}
	if err := keepLines(fd); err != nil {
		unix.Close(fd)
		return -1, &link.Error{Op: "open", Port: path, Kind: link.NotAPort, Err: err}
	}
	return fd, nil
}

// openSerial lowers the modem lines if that is wanted and the port has some: a
// pseudo-terminal has none, and the library then refuses to open.
func openSerial(path string, mode serial.Mode, lower bool) (serial.Port, error) {
	if lower {
		mode.InitialStatusBits = &serial.ModemOutputBits{}
		if s, err := serial.Open(path, &mode); err == nil {
			return s, nil
		}
		mode.InitialStatusBits = nil
	}
	return serial.Open(path, &mode)
}

// keepLines has the kernel leave the modem lines as they are at Close.
func keepLines(fd int) error {
	t, err := unix.IoctlGetTermios(fd, getTermios)
	if err != nil {
		return err
	}
	t.Cflag &^= unix.HUPCL
	return unix.IoctlSetTermios(fd, setTermios, t)
}

func isBusy(err error) bool { return errors.Is(err, unix.EBUSY) }

func isNoDevice(err error) bool {
	return errors.Is(err, unix.ENXIO) || errors.Is(err, unix.ENODEV)
}

func (d *unixDevice) read(p []byte, wait time.Duration) (int, error) {
	if err := d.serial.SetReadTimeout(wait); err != nil {
		return 0, err
	}
	return d.serial.Read(p)
}

func (d *unixDevice) write(p []byte, wait time.Duration) (int, error) {
	deadline := time.Now().Add(wait)
	for {
		n, err := unix.Write(d.fd, p)
		if n > 0 || len(p) == 0 {
			return n, nil
		}
		left := time.Until(deadline)
		switch {
		case err == nil || errors.Is(err, unix.EINTR):
		case !errors.Is(err, unix.EAGAIN):
			return 0, err
		case left > 0:
			fds := []unix.PollFd{{Fd: int32(d.fd), Events: unix.POLLOUT}}
			if _, err := unix.Poll(fds, int(left/time.Millisecond)+1); err != nil && !errors.Is(err, unix.EINTR) {
				return 0, err
			}
			if fds[0].Revents&unix.POLLOUT == 0 && fds[0].Revents != 0 {
				return 0, unix.EIO // hung up
			}
		}
		if left <= 0 {
			return 0, nil
		}
	}
}

func (d *unixDevice) waiting() int {
	n, err := unix.IoctlGetInt(d.fd, unix.TIOCOUTQ)
	if err != nil {
		return 0
	}
	return n
}

func (d *unixDevice) discard() { _ = d.serial.ResetOutputBuffer() }

func (d *unixDevice) setRate(bitsPerSecond int) error {
	mode := d.mode
	mode.BaudRate = bitsPerSecond
	if err := d.serial.SetMode(&mode); err != nil {
		return err
	}
	d.mode = mode
	return nil
}

// close drops what the line has not taken, since the kernel would wait for it
// for up to 30 s.
func (d *unixDevice) close() error {
	for deadline := time.Now().Add(drainLimit); d.waiting() > 0; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			d.discard()
			break
		}
	}
	return errors.Join(d.serial.Close(), unix.Close(d.fd))
}
