//go:build !linux

package port

// Where there is no /proc nobody can be named.
func locker(string) string { return "" }
func holder(string) string { return "" }
func owner(string) string  { return "" }
