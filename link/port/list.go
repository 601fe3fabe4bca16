package port

import (
	"path/filepath"
	"runtime"
	"slices"

	"go.bug.st/serial"
)

// Found is a serial port that may be opened.
type Found struct {
	Path string
	Name string // the lasting name of its adapter, where the system gives one
}

// List returns the serial ports of this machine. On Linux nothing is opened to
// find them, since opening a port may restart the board on it; pseudo-terminals
// and the many names of absent built-in ports are left out.
func List() ([]Found, error) {
	if runtime.GOOS != "linux" {
		paths, err := serial.GetPortsList()
		if err != nil {
			return nil, openError("", err)
		}
		return found(paths, nil), nil
	}
	var paths []string
	for _, pattern := range []string{"ttyACM*", "ttyUSB*", "ttyAMA*", "rfcomm*"} {
		some, _ := filepath.Glob("/dev/" + pattern) // the pattern is sound, so there is no error
		paths = append(paths, some...)
	}
	names, _ := filepath.Glob("/dev/serial/by-id/*")
	return found(paths, names), nil
}

// found joins device files with the symbolic links that name them.
func found(paths, names []string) []Found {
	named := map[string]string{}
	for _, n := range names {
		if real, err := filepath.EvalSymlinks(n); err == nil {
			named[real] = filepath.Base(n)
		}
	}
	slices.Sort(paths)
	all := make([]Found, 0, len(paths))
	for _, p := range slices.Compact(paths) {
		all = append(all, Found{Path: p, Name: named[p]})
	}
	return all
}
