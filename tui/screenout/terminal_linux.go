package screenout

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// Terminal opens the terminal behind f anew, so that writes to it can be given
// up: a write that waits in the kernel for a terminal that does not read can be
// ended by nothing else, and it keeps all others out. The new file is apart from
// f, whose mode other programs share. It returns f itself where that cannot be.
func Terminal(f *os.File) *os.File {
	fd, err := unix.Open(fmt.Sprintf("/proc/self/fd/%d", f.Fd()), unix.O_WRONLY|unix.O_NONBLOCK|unix.O_NOCTTY|unix.O_CLOEXEC, 0)
	if err != nil {
		return f
	}
	return os.NewFile(uintptr(fd), f.Name())
}

// Flush throws away what the terminal behind f has been sent and has not read.
func Flush(f *os.File) {
	_ = unix.IoctlSetInt(int(f.Fd()), unix.TCFLSH, unix.TCOFLUSH)
}
