// Package quiet keeps the program silent while it starts. Bubble Tea v1 asks the
// terminal for its background colour from an init function, so that merely
// linking it costs seconds where nothing answers, even for a version number.
//
// The question is not put where the variable CI is set. This package sets it
// when it is initialised, and gives it back in Restore, which package tui calls
// in its own init, when Bubble Tea is past asking.
//
// That it comes before Bubble Tea follows from the language: packages are
// initialised in the order of their paths, as soon as all that they import is
// ("Program initialization" in the Go specification). This one imports syscall
// alone, which stands on nothing that sorts after "trunnion"; Bubble Tea stands,
// by way of strings, on unicode, which does. A test watches a pseudo-terminal to
// see that it stays so. Do not import anything more here.
package quiet

import "syscall"

const variable = "CI"

// wasSet is read before init sets the variable.
var _, wasSet = syscall.Getenv(variable)

func init() {
	if !wasSet {
		_ = syscall.Setenv(variable, "starting")
	}
}

// Restore gives the variable back as it was.
func Restore() {
	if !wasSet {
		_ = syscall.Unsetenv(variable)
	}
}
