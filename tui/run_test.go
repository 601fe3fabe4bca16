package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
	"golang.org/x/term"

	"trunnion/tui/internal/scenes"
)

// importOnly makes the test binary end at once, to see what linking the package
// alone does to a terminal.
const importOnly = "TRUNNION_TEST_IMPORT_ONLY"

func TestMain(m *testing.M) {
	if os.Getenv(importOnly) != "" {
		fmt.Printf("CI=%q", os.Getenv("CI"))
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// Bubble Tea asks the terminal for its background colour when it is linked, and
// waits five seconds for an answer; see package quiet.
func TestLinkingAsksTheTerminalNothing(t *testing.T) {
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(self)
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "CI=") && !strings.HasPrefix(v, "TERM=") {
			c.Env = append(c.Env, v)
		}
	}
	c.Env = append(c.Env, importOnly+"=1", "TERM=xterm-256color")
	start := time.Now()
	master, err := pty.Start(c)
	require.NoError(t, err)
	defer func() { _ = master.Close() }()
	said, _ := io.ReadAll(master) // a pseudo-terminal ends with an error
	require.NoError(t, c.Wait())
	assert.Equal(t, `CI=""`, string(said), "the terminal was asked something, or the environment was not given back")
	assert.Less(t, time.Since(start), 3*time.Second)
}

// console is the real thing on a pseudo-terminal.
type console struct {
	t      *testing.T
	master *os.File
	slave  *os.File
	before *term.State
	fake   *fakeActions
	feed   *Feed
	cancel context.CancelCauseFunc
	gone   chan time.Time
	ended  chan error
	over   chan struct{} // closed when Run has returned

	mu    sync.Mutex
	seen  []byte
	deaf  bool // nobody reads the terminal
	alive sync.WaitGroup
}

func openConsole(t *testing.T, scene string) *console {
	master, slave, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, pty.Setsize(master, &pty.Winsize{Rows: 24, Cols: 80}))
	before, err := term.GetState(int(slave.Fd()))
	require.NoError(t, err)
	c := &console{t: t, master: master, slave: slave, before: before, fake: newFake(), feed: NewFeed(scenes.Lift()), gone: make(chan time.Time, 1), ended: make(chan error, 1), over: make(chan struct{})}
	player := scenes.Play(scenes.Named(scene), c.feed)
	stop := make(chan struct{})
	c.alive.Add(2)
	go func() {
		defer c.alive.Done()
		for {
			select {
			case <-stop:
				return
			case <-time.After(10 * time.Millisecond):
				player.Step(1)
			}
		}
	}()
	go func() { defer c.alive.Done(); c.read() }()
	ctx, cancel := context.WithCancelCause(t.Context())
	c.cancel = cancel
	go func() {
		defer close(c.over)
		c.ended <- Run(ctx, Options{In: slave, Out: slave, Feed: c.feed, Actions: c.fake, OnGone: func() { c.gone <- time.Now() },
			Env: func(k string) string {
				return map[string]string{"TERM": "xterm-256color", "LANG": "C.UTF-8"}[k]
			}})
	}()
	t.Cleanup(func() {
		cancel(nil)
		<-c.over
		close(stop)
		_ = master.Close()
		_ = slave.Close()
		c.alive.Wait()
	})
	c.shows("scenery lift")
	return c
}

// read reads the terminal unless it is deaf.
func (c *console) read() {
	b := make([]byte, 4096)
	for {
		c.mu.Lock()
		deaf := c.deaf
		c.mu.Unlock()
		if deaf {
			time.Sleep(time.Millisecond)
			if c.master.SetReadDeadline(time.Now()) != nil {
				return
			}
			continue
		}
		_ = c.master.SetReadDeadline(time.Now().Add(20 * time.Millisecond))
		n, err := c.master.Read(b)
		c.mu.Lock()
		c.seen = append(c.seen, b[:n]...)
		c.mu.Unlock()
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return
		}
	}
}

func (c *console) shows(text string) {
	c.t.Helper()
	require.Eventually(c.t, func() bool {
		c.mu.Lock()
		defer c.mu.Unlock()
		return strings.Contains(string(c.seen), text)
	}, 3*time.Second, time.Millisecond, text)
}

func (c *console) types(keys string) {
	_, err := c.master.WriteString(keys)
	require.NoError(c.t, err)
}

// until is how long it takes until the session is asked for something.
func (c *console) until(call string) time.Duration {
	c.t.Helper()
	start := time.Now()
	require.Eventually(c.t, func() bool { return slices.Contains(c.fake.said(), call) }, 3*time.Second, 200*time.Microsecond, call)
	return time.Since(start)
}

func (c *console) end() error {
	c.t.Helper()
	select {
	case err := <-c.ended:
		return err
	case <-time.After(3 * time.Second):
		c.t.Fatal("the console does not end")
		return nil
	}
}

func (c *console) restored() {
	after, err := term.GetState(int(c.slave.Fd()))
	require.NoError(c.t, err)
	assert.Equal(c.t, c.before, after, "the terminal's mode is given back")
}

// stall makes the terminal stop reading until the output is stuck.
func (c *console) stall() {
	c.mu.Lock()
	c.deaf = true
	c.mu.Unlock()
	for range 60 { // ask for whole screens
		c.types("\x0c")
		time.Sleep(10 * time.Millisecond)
	}
}

func TestAPersonQuits(t *testing.T) {
	c := openConsole(t, "armed")
	c.types("q")
	c.shows("Park and quit?")
	time.Sleep(300 * time.Millisecond)
	c.types("y")
	require.NoError(t, c.end())
	assert.Equal(t, []string{"park"}, c.fake.said())
	c.restored()
	c.shows("\x1b[?1049l")
}

func TestTheContextEndsIt(t *testing.T) {
	c := openConsole(t, "armed")
	why := errors.New("a signal came")
	start := time.Now()
	c.cancel(why)
	require.ErrorIs(t, c.end(), why)
	t.Logf("ended in %v", time.Since(start))
	c.restored()
}

// The measured numbers go to the log; the bounds are loose, since the machine may
// be busy.
func TestKeysWorkWhileTheTerminalIsStalled(t *testing.T) {
	c := openConsole(t, "first-power-up")
	c.stall()
	c.types("a")
	time.Sleep(350 * time.Millisecond) // the question must have stood
	c.types("y")
	loop := c.until("arm")
	c.types("xx ")
	stop := c.until("stop: space was pressed")
	t.Logf("while stalled: a key reached the event loop and the session in %v, a stop in %v", loop, stop)
	assert.Less(t, loop, 100*time.Millisecond)
	assert.Less(t, stop, 100*time.Millisecond)
	why := errors.New("a signal came")
	start := time.Now()
	c.cancel(why)
	require.ErrorIs(t, c.end(), why)
	assert.Less(t, time.Since(start), time.Second)
	t.Logf("ended in %v", time.Since(start))
	c.restored()
	c.mu.Lock()
	c.deaf = false
	c.mu.Unlock()
	c.shows("\x1b[?1049l")
}

func TestAfterAStallTheNewestIsShown(t *testing.T) {
	c := openConsole(t, "first-power-up")
	c.stall()
	c.types("?")
	time.Sleep(100 * time.Millisecond)
	c.mu.Lock()
	c.seen, c.deaf = nil, false
	c.mu.Unlock()
	c.shows("Works everywhere")
}

func TestATerminalThatHangsUpIsNoticed(t *testing.T) {
	c := openConsole(t, "dead-band")
	start := time.Now()
	require.NoError(t, c.master.Close())
	select {
	case at := <-c.gone:
		t.Logf("noticed in %v", at.Sub(start))
	case <-time.After(time.Second):
		t.Fatal("nobody was told")
	}
	require.ErrorIs(t, c.end(), ErrGone)
}

func TestWithoutATerminalThereIsNoConsole(t *testing.T) {
	r, w, err := os.Pipe()
	require.NoError(t, err)
	err = Run(t.Context(), Options{In: r, Out: w, Feed: NewFeed(scenes.Lift()), Actions: newFake()})
	require.ErrorIs(t, err, ErrNoTerminal)
}

// The stop of the raw bytes does not wait for the event loop, nor for what it
// takes the bytes for: here the beginning of a paste whose end never comes.
func TestSpaceStopsInsideAPasteThatNeverEnds(t *testing.T) {
	c := openConsole(t, "dead-band")
	c.types("\x1b[200~abc")
	time.Sleep(50 * time.Millisecond)
	c.types(" ")
	t.Logf("stopped in %v", c.until("stop: space was pressed"))
}

func TestControlCStopsFromTheBytesWhileSomethingMoves(t *testing.T) {
	c := openConsole(t, "dead-band")
	c.types("\x03")
	c.until("stop: ctrl-c was pressed")
	c.until("park")
	time.Sleep(100 * time.Millisecond)
	assert.Len(t, c.fake.said(), 2, "one key is one stop: %v", c.fake.said())
}

func TestTheSizeIsFollowed(t *testing.T) {
	c := openConsole(t, "armed")
	require.NoError(t, pty.Setsize(c.master, &pty.Winsize{Rows: 10, Cols: 40}))
	// The test's process is not in the terminal's session, so the kernel tells it
	// nothing; the signal is sent by hand.
	require.NoError(t, unix.Kill(unix.Getpid(), unix.SIGWINCH))
	c.shows("40 x 10 is too small")
}

func TestAFaultOfTheConsoleStopsTheRig(t *testing.T) {
	c := openConsole(t, "dead-band")
	// A root without its screen stands for a fault.
	m := newRoot(config{ctx: t.Context(), feed: c.feed, actions: c.fake, now: time.Now})
	m.main = nil
	ctx, cancel := context.WithCancelCause(t.Context())
	p := &program{root: m, cancel: cancel}
	model, _ := p.Update(tick{})
	assert.NotNil(t, model)
	var fault *Panic
	require.ErrorAs(t, context.Cause(ctx), &fault)
	assert.NotEmpty(t, fault.Stack)
	c.until("stop: a fault in the console itself")
}
