//go:build linux || darwin

package ptyline_test

import (
	"bytes"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/fixtures/machines"
	"trunnion/link/virtual"
	"trunnion/link/virtual/physics"
	"trunnion/link/virtual/ptyline"
	"trunnion/link/wire"
)

func open(t *testing.T) *ptyline.Line {
	t.Helper()
	line, err := ptyline.Open()
	if err != nil {
		t.Skip(err) // a sandbox may have no pseudo-terminals
	}
	t.Cleanup(func() { line.Close() })
	return line
}

// Every byte passes unchanged, both ways: none is eaten, echoed or turned into
// another, as a terminal that is not raw would do.
func TestBytesPassUnchanged(t *testing.T) {
	line := open(t)
	far, err := os.OpenFile(line.Path(), os.O_RDWR, 0)
	require.NoError(t, err)
	defer far.Close()
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	read := func(from interface{ Read([]byte) (int, error) }) []byte {
		var got []byte
		buffer := make([]byte, 512)
		for len(got) < len(all) {
			n, err := from.Read(buffer)
			require.NoError(t, err)
			got = append(got, buffer[:n]...)
		}
		return got
	}
	_, err = far.Write(all)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(all, read(line)))
	_, err = line.Write(all)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(all, read(far)))
}

func TestDeadlineAndCloseEndARead(t *testing.T) {
	line := open(t)
	require.NoError(t, line.SetDeadline(time.Now().Add(20*time.Millisecond)))
	_, err := line.Read(make([]byte, 8))
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	require.NoError(t, line.SetDeadline(time.Time{}))

	ended := make(chan error, 1)
	go func() {
		_, err := line.Read(make([]byte, 8))
		ended <- err
	}()
	time.Sleep(20 * time.Millisecond)
	require.NoError(t, line.Close())
	select {
	case err := <-ended:
		require.Error(t, err)
	case <-time.After(time.Second):
		t.Fatal("the read still waits")
	}
}

// hello asks a rig at a path for its identity.
func hello(t *testing.T, path string) wire.Identity {
	t.Helper()
	far, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	defer far.Close()
	ask, err := wire.Encode([]byte{0}, wire.Frame{Message: wire.Hello{Major: wire.Major, Token: 12}})
	require.NoError(t, err)
	_, err = far.Write(ask)
	require.NoError(t, err)
	var d wire.Decoder
	buffer := make([]byte, 256)
	for range 100 {
		n, err := far.Read(buffer)
		require.NoError(t, err)
		for _, r := range d.Feed(buffer[:n]) {
			if id, ok := r.Frame.Message.(wire.Identity); ok {
				return id
			}
		}
	}
	t.Fatal("no identity")
	return wire.Identity{}
}

// A rig is reached again after the program at the far end is gone.
func TestRigOnALine(t *testing.T) {
	line := open(t)
	text, err := machines.Text("trolley")
	require.NoError(t, err)
	m, err := physics.Read(text)
	require.NoError(t, err)
	rig, err := virtual.New(m, virtual.Options{Boot: 21})
	require.NoError(t, err)
	stop, ended := make(chan struct{}), make(chan error, 1)
	go func() { ended <- virtual.Serve(rig, line, virtual.RealTime, stop) }()
	for range 3 {
		id := hello(t, line.Path())
		assert.EqualValues(t, 21, id.Boot)
		assert.EqualValues(t, 12, id.Token)
		time.Sleep(10 * time.Millisecond)
	}
	close(stop)
	require.NoError(t, <-ended)
}
