//go:build !unix

package main

// heedFileLimits has nothing to do: there are no such limits.
func heedFileLimits() {}
