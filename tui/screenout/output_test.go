package screenout

import (
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"

	"trunnion/tui/canvas"
	"trunnion/tui/glyph"
	"trunnion/tui/theme"
)

const w, h = 80, 24

// screenOf is frame n: it differs from the one before everywhere.
func screenOf(n int) *canvas.Canvas {
	c := canvas.New(w, h, glyph.Full)
	for y := range h {
		c.Text(0, y, strings.Repeat(fmt.Sprintf("%03d ", n%1000), w/4), theme.Role(n%2))
	}
	return c
}

// terminalPair is a pseudo-terminal in raw mode.
func terminalPair(t *testing.T) (master, slave *os.File) {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { _ = slave.Close(); _ = master.Close() })
	_, err = term.MakeRaw(int(slave.Fd()))
	require.NoError(t, err)
	return master, slave
}

// reader reads a pseudo-terminal into the model of a terminal.
type reader struct {
	mu    sync.Mutex
	model *terminal
	rest  []byte
	bytes int
}

func (r *reader) run(master *os.File) {
	b := make([]byte, 4096)
	for {
		n, err := master.Read(b)
		r.mu.Lock()
		r.bytes += n
		r.rest = append(r.rest, b[:n]...)
		r.rest = r.rest[r.model.writeWhole(r.rest):]
		r.mu.Unlock()
		if err != nil {
			return
		}
	}
}

func (r *reader) row(y int) string {
	r.mu.Lock()
	defer r.mu.Unlock()
	var b strings.Builder
	for _, c := range r.model.cells[y*w : (y+1)*w] {
		b.WriteRune(c.Rune)
	}
	return b.String()
}

func TestAStalledTerminalHoldsUpNobodyAndCatchesUp(t *testing.T) {
	master, slave := terminalPair(t)
	look := theme.New(theme.Sixteen, theme.Unknown)
	file := Terminal(slave)
	o := New(file, look, false, func() { Flush(slave) })
	o.Start()
	worst := time.Duration(0)
	n := 0
	for ; n < 300; n++ { // nobody reads
		start := time.Now()
		o.Show(screenOf(n))
		worst = max(worst, time.Since(start))
		time.Sleep(time.Millisecond)
	}
	assert.Less(t, worst, 50*time.Millisecond, "showing a frame waits for nothing")
	assert.Greater(t, o.Stalled(time.Now()), 50*time.Millisecond)
	stalled := o.Written()

	r := &reader{model: newTerminal(w, h, look)}
	go r.run(master)
	require.Eventually(t, func() bool { return strings.HasPrefix(r.row(0), "299 ") && strings.HasSuffix(r.row(h-1), "299 ") }, 3*time.Second, time.Millisecond)
	t.Logf("worst Show %v; %d bytes were under way when it stalled, %d to the newest of 300 frames", worst, stalled, o.Written())
	assert.Less(t, o.Written(), uint64(40_000), "what lies between is not sent")
	require.NoError(t, o.Close(time.Second))
	require.Eventually(t, func() bool {
		r.mu.Lock()
		defer r.mu.Unlock()
		return strings.HasSuffix(r.model.other.String(), "\x1b[?2004l\x1b[?25h\x1b[?1049l")
	}, time.Second, time.Millisecond)
}

func TestAStalledTerminalIsGivenBack(t *testing.T) {
	master, slave := terminalPair(t)
	file := Terminal(slave)
	if file == slave {
		t.Skip("a terminal cannot be opened anew here")
	}
	o := New(file, theme.New(theme.Sixteen, theme.Unknown), false, func() { Flush(slave) })
	o.Start()
	for n := range 200 {
		o.Show(screenOf(n))
		time.Sleep(time.Millisecond)
	}
	require.Greater(t, o.Stalled(time.Now()), time.Duration(0))
	start := time.Now()
	require.NoError(t, o.Close(400*time.Millisecond))
	took := time.Since(start)
	assert.Less(t, took, 390*time.Millisecond)
	// What the terminal had not read was thrown away; the sequences that give it
	// back were not.
	b := make([]byte, 65536)
	require.NoError(t, master.SetReadDeadline(time.Now().Add(time.Second)))
	got := ""
	for !strings.HasSuffix(got, leave) {
		n, err := master.Read(b)
		require.NoError(t, err, "%q", got[max(0, len(got)-100):])
		got += string(b[:n])
	}
	t.Logf("closed in %v, %d bytes were left to read", took, len(got))
}

func TestATerminalThatGoesIsAFault(t *testing.T) {
	master, slave := terminalPair(t)
	o := New(Terminal(slave), theme.New(theme.Sixteen, theme.Unknown), false, nil)
	o.Start()
	require.NoError(t, master.Close())
	for n := range 100 {
		o.Show(screenOf(n))
		time.Sleep(time.Millisecond)
	}
	select {
	case err := <-o.Fault():
		assert.Error(t, err)
	case <-time.After(time.Second):
		t.Fatal("nobody was told")
	}
}

func TestRedrawSendsTheWholeScreenAgain(t *testing.T) {
	master, slave := terminalPair(t)
	look := theme.New(theme.Sixteen, theme.Unknown)
	r := &reader{model: newTerminal(w, h, look)}
	go r.run(master)
	o := New(Terminal(slave), look, false, nil)
	o.Start()
	o.Show(screenOf(7))
	require.Eventually(t, func() bool { return strings.HasPrefix(r.row(h-1), "007 ") }, time.Second, time.Millisecond)
	r.mu.Lock()
	for i := range r.model.cells {
		r.model.cells[i].Rune = '#' // something else wrote there
	}
	r.mu.Unlock()
	o.Redraw()
	require.Eventually(t, func() bool { return strings.HasPrefix(r.row(0), "007 ") && strings.HasPrefix(r.row(h-1), "007 ") }, time.Second, time.Millisecond)
	require.NoError(t, o.Close(time.Second))
}
