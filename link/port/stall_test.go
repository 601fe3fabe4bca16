//go:build linux || darwin

package port

import (
	"bytes"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
)

// stallLine writes until the terminal takes no more and returns how many frames
// were handed over.
func stallLine(t *testing.T, p *Port) int {
	t.Helper()
	frame := append(bytes.Repeat([]byte{'o'}, 999), 0)
	for n := 1; n < 200; n++ {
		began := time.Now()
		require.NoError(t, p.Write(frame))
		require.Less(t, time.Since(began), 100*time.Millisecond, "Write must not wait for the line")
		time.Sleep(200 * time.Microsecond)
		p.mu.Lock()
		waiting := len(p.queue)
		p.mu.Unlock()
		if waiting > 3 {
			return n
		}
	}
	t.Fatal("the terminal never stalled")
	return 0
}

// The brief moment in which a stop must be out: 10 ms, whatever the line holds.
func TestUrgentOvertakesAStalledLine(t *testing.T) {
	p, master := open(t)
	stallLine(t, p)
	began := time.Now()
	require.NoError(t, p.WriteUrgent([]byte("stop\x00")))
	require.Less(t, time.Since(began), 5*time.Millisecond)
	time.Sleep(10 * time.Millisecond)
	p.mu.Lock()
	sent := p.urgent == nil && !p.sending
	p.mu.Unlock()
	require.True(t, sent, "the stop must have left within 10 ms")

	require.LessOrEqual(t, readUpTo(t, master, "\x00stop\x00"), arrived)
	require.NoError(t, p.Write([]byte("next")))
	require.Zero(t, readUpTo(t, master, "next"))
}

// arrived is how many bytes a pseudo-terminal's far side takes into its own
// input queue, where nobody can take them back (N_TTY_BUF_SIZE of Linux).
const arrived = 4096

// readUpTo reads until the bytes read end with what, and returns how many came
// before it.
func readUpTo(t *testing.T, r io.Reader, what string) int {
	t.Helper()
	var all []byte
	b := make([]byte, 4096)
	for !bytes.HasSuffix(all, []byte(what)) {
		n, err := r.Read(b)
		require.NoError(t, err)
		all = append(all, b[:n]...)
		require.Less(t, len(all), 30000, "never came")
	}
	return len(all) - len(what)
}

// What a stalled line held must not be sent when it recovers.
func TestStalledFramesAreDropped(t *testing.T) {
	p, master := open(t)
	stallLine(t, p)
	var err error
	require.Eventually(t, func() bool {
		err = p.Write([]byte("later"))
		return err != nil
	}, 2*time.Second, 10*time.Millisecond)
	require.ErrorIs(t, err, link.Stalled)

	time.Sleep(20 * time.Millisecond)
	require.NoError(t, p.Write([]byte("fresh")))
	require.LessOrEqual(t, readUpTo(t, master, "\x00fresh"), arrived)
}

func TestCloseOfAStalledLine(t *testing.T) {
	p, _ := open(t)
	stallLine(t, p)
	began := time.Now()
	require.NoError(t, p.Close())
	require.Less(t, time.Since(began), closeLimit)
}
