package main

import (
	"io"
)

func emulate(args []string, out, errs io.Writer) int { return exitUsage }
