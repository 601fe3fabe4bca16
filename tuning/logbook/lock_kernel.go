//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package logbook

import (
	"errors"
	"syscall"
)

// kernelLocks says that a lock ends with the process that held it.
const kernelLocks = true

var errHeld = errors.New("held by another")

// tryLock takes the kernel's lock on an open file, or returns errHeld.
func tryLock(fd uintptr) error {
	for {
		err := syscall.Flock(int(fd), syscall.LOCK_EX|syscall.LOCK_NB)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.Is(err, syscall.EWOULDBLOCK):
			return errHeld
		}
		return err
	}
}
