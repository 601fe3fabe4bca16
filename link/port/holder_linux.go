package port

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// locker names the process that has a lock on the file, "" for none or where
// that cannot be known. It reads the kernel's table (proc(5), /proc/locks) and
// does not open the file.
func locker(path string) string {
	var st unix.Stat_t
	if unix.Stat(path, &st) != nil {
		return ""
	}
	table, err := os.ReadFile("/proc/locks")
	if err != nil {
		return ""
	}
	file := fmt.Sprintf("%02x:%02x:%d", unix.Major(uint64(st.Dev)), unix.Minor(uint64(st.Dev)), st.Ino)
	for line := range strings.Lines(string(table)) {
		f := strings.Fields(line) // number: FLOCK ADVISORY WRITE pid major:minor:inode start end
		if len(f) >= 6 && f[1] == "FLOCK" && f[5] == file {
			return process(f[4])
		}
	}
	return ""
}

// holder names a process, other than this one, that has the file open. Only
// processes of the same account can be looked into.
func holder(path string) string {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	fds, _ := filepath.Glob("/proc/[0-9]*/fd/*")
	for _, fd := range fds {
		pid := strings.Split(fd, "/")[2]
		if target, err := os.Readlink(fd); err == nil && target == path && pid != strconv.Itoa(os.Getpid()) {
			return process(pid)
		}
	}
	return ""
}

// process describes a process: "process 812, minder".
func process(pid string) string {
	if pid == strconv.Itoa(os.Getpid()) {
		return "this program itself"
	}
	name, err := os.ReadFile("/proc/" + pid + "/comm")
	if err != nil {
		return "process " + pid
	}
	return "process " + pid + ", " + strings.TrimSpace(string(name))
}

// owner says to whom the file belongs.
func owner(path string) string {
	var st unix.Stat_t
	if unix.Stat(path, &st) != nil {
		return ""
	}
	group := strconv.Itoa(int(st.Gid))
	if g, err := user.LookupGroupId(group); err == nil {
		group = g.Name
	}
	return "it belongs to the group " + group
}
