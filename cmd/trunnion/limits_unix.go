//go:build unix

package main

import (
	"os/signal"
	"syscall"
)

// heedFileLimits has a write beyond the account's file size limit fail, as on a
// full disk, instead of killing the program with nothing made safe.
func heedFileLimits() { signal.Ignore(syscall.SIGXFSZ) }
