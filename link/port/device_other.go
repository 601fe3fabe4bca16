//go:build !(linux || darwin || freebsd || openbsd)

package port

import (
	"time"

	"go.bug.st/serial"
)

// plainDevice is the serial library's port alone. The system lets nobody else
// open the port; a write on a line that takes no more blocks the writing
// goroutine, and Close then gives up on it after its limit.
type plainDevice struct {
	serial serial.Port
	mode   serial.Mode
}

func openDevice(path, real string, o Options) (device, error) {
	d := &plainDevice{mode: serial.Mode{BaudRate: o.Rate}}
	mode := d.mode
	if o.LowerLines {
		mode.InitialStatusBits = &serial.ModemOutputBits{}
	}
	s, err := serial.Open(real, &mode)
	if err != nil {
		return nil, openError(path, err)
	}
	d.serial = s
	return d, nil
}

func isBusy(error) bool     { return false }
func isNoDevice(error) bool { return false }

func (d *plainDevice) read(p []byte, wait time.Duration) (int, error) {
	if err := d.serial.SetReadTimeout(wait); err != nil {
		return 0, err
	}
	return d.serial.Read(p)
}

func (d *plainDevice) write(p []byte, _ time.Duration) (int, error) { return d.serial.Write(p) }
func (d *plainDevice) waiting() int                                 { return 0 }
func (d *plainDevice) discard()                                     { _ = d.serial.ResetOutputBuffer() }
func (d *plainDevice) close() error                                 { return d.serial.Close() }

func (d *plainDevice) setRate(bitsPerSecond int) error {
	mode := d.mode
	mode.BaudRate = bitsPerSecond
	if err := d.serial.SetMode(&mode); err != nil {
		return err
	}
	d.mode = mode
	return nil
}
