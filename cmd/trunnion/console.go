package main

import "io"

func console(args []string, out, errs io.Writer) int { return headless(args, out, errs) }
