// Command trunnion calibrates a friction-variator machine: a full-screen console
// on a terminal, one line an event without.
//
// This package holds flags and wiring, nothing else.
package main

import (
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"
)

// Exit codes. They are documented in README.md.
const (
	exitDone     = 0
	exitFailed   = 1
	exitUsage    = 2
	exitFindings = 3
)

// command is one subcommand.
type command struct {
	name, brief string
	run         func(args []string, out, errs io.Writer) int
}

func commands() []command {
	return []command{
		{"console", "the full-screen console; the default", console},
		{"run", "all tasks of all axes without a terminal, one line an event", headless},
		{"emulate", "serve the virtual rig on a pseudo-terminal and print its path", emulate},
		{"replay", "run a recorded run through today's code, without a rig", replay},
		{"verify", "examine the record of a run for damage", verify},
		{"ports", "list serial ports", ports},
		{"version", "print the version", printVersion},
	}
}

func main() {
	heedFileLimits()
	os.Exit(start(os.Args[1:], os.Stdout, os.Stderr))
}

// start finds the subcommand; without one it is the console.
func start(args []string, out, errs io.Writer) int {
	name := "console"
	if len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		name, args = args[0], args[1:]
	} else if len(args) > 0 && (args[0] == "--help" || args[0] == "-h") {
		usage(out)
		return exitDone
	}
	if len(args) == 1 && args[0] == "--version" {
		return printVersion(nil, out, errs)
	}
	if name == "help" {
		usage(out)
		return exitDone
	}
	for _, c := range commands() {
		if c.name == name {
			return c.run(args, out, errs)
		}
	}
	fmt.Fprintf(errs, "trunnion: there is no command %q; \"trunnion help\" lists them\n", name)
	return exitUsage
}

func usage(out io.Writer) {
	fmt.Fprint(out, "trunnion calibrates the axes of a friction-variator machine.\n\n"+
		"Rotating parts hurt. A software stop is not an emergency stop: keep a hard switch in\n"+
		"the motor's supply within reach, and follow your local rules for machines.\n\n"+
		"  trunnion [COMMAND] [FLAGS]\n\n")
	for _, c := range commands() {
		fmt.Fprintf(out, "  %-10s %s\n", c.name, c.brief)
	}
	fmt.Fprint(out, "\n\"trunnion COMMAND --help\" lists the flags of a command.\n"+
		"Exit codes: 0 done; 1 failed or stopped; 2 wrong usage; 3 findings to look at.\n")
}

// version is the module's version as the build knows it.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "trunnion (development)"
	}
	return "trunnion " + strings.Trim(info.Main.Version, "()")
}

func printVersion(_ []string, out, _ io.Writer) int {
	fmt.Fprintln(out, version())
	return exitDone
}
