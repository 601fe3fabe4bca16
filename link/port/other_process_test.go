//go:build linux

package port

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link"
)

// roleVariable makes the test program, started anew, open a port and say how
// that went, so that a second process can be tested.
const roleVariable = "TRUNNION_TEST_OPEN_PORT"

func TestMain(m *testing.M) {
	path := os.Getenv(roleVariable)
	if path == "" {
		os.Exit(m.Run())
	}
	p, err := Open(path, Options{})
	if err != nil {
		fmt.Println(err.(*link.Error).Kind.Error())
		os.Exit(0)
	}
	fmt.Println("open")
	io.Copy(io.Discard, os.Stdin) // until the test lets go
	p.Close()
}

// other starts a process that opens path and returns it with its first line.
func other(t *testing.T, path, program string, as *syscall.Credential) (*exec.Cmd, string) {
	t.Helper()
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), roleVariable+"="+path)
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: as}
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { in.Close(); cmd.Wait() })
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan())
	return cmd, lines.Text()
}

func TestBusyNamesTheOtherProcess(t *testing.T) {
	_, path := terminal(t)
	cmd, said := other(t, path, os.Args[0], nil)
	require.Equal(t, "open", said)
	_, err := Open(path, Options{})
	require.ErrorIs(t, err, link.Busy)
	require.Contains(t, err.(*link.Error).Detail, "process "+strconv.Itoa(cmd.Process.Pid))
}

func TestBusyWithinThisProcess(t *testing.T) {
	p, _ := open(t)
	_, err := Open(p.String(), Options{})
	require.ErrorIs(t, err, link.Busy)
	require.NoError(t, p.Close())
	again, err := Open(p.String(), Options{})
	require.NoError(t, err, "a closed port is free")
	require.NoError(t, again.Close())
}

// Where the table of locks cannot be read, the lock itself still keeps us out.
func TestBusyByTheLockAlone(t *testing.T) {
	p, _ := open(t)
	_, err := lockTerminal("name", p.String())
	require.ErrorIs(t, err, link.Busy)
}

// Root may open everything, so the test opens as nobody.
func TestNoPermission(t *testing.T) {
	_, path := terminal(t)
	if os.Getuid() != 0 {
		require.NoError(t, os.Chmod(path, 0))
		_, err := Open(path, Options{})
		require.ErrorIs(t, err, link.NoPermission)
		require.Contains(t, err.Error(), "group")
		return
	}
	dir, err := os.MkdirTemp("", "")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))
	program := filepath.Join(dir, "opener")
	bytes, err := os.ReadFile(os.Args[0])
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(program, bytes, 0o755))
	_, said := other(t, path, program, &syscall.Credential{Uid: 65534, Gid: 65534})
	require.Equal(t, link.NoPermission.Error(), said)
}
