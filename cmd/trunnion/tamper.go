//go:build !faults

package main

import "trunnion/link"

// tamper is where the build for the matrix of faults does harm. Here it does
// nothing, and leaves nothing in the program.
func tamper(c link.Conn, l listeners) (link.Conn, listeners) { return c, l }
