//go:build unix

package ptyline

import (
	"os"
	"syscall"
)

// wakeable returns the near end in a form whose reads end at a deadline and by
// Close. Opening it has asked for its descriptor, after which a file blocks for
// good.
func wakeable(near *os.File) (*os.File, error) {
	fd, err := syscall.Dup(int(near.Fd()))
	if err != nil {
		return nil, err
	}
	syscall.CloseOnExec(fd)
	if err := syscall.SetNonblock(fd, true); err != nil {
		syscall.Close(fd)
		return nil, err
	}
	return os.NewFile(uintptr(fd), near.Name()), near.Close()
}
