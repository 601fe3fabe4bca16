//go:build linux || darwin

package client

import (
	"bytes"
	"os"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/linktest"
	"trunnion/link/port"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// plugged is a serial port whose far end a script holds.
type plugged struct {
	*port.Port
	master *os.File
	script *linktest.Script

	mu     sync.Mutex
	paused bool // the far end does not read
	ended  sync.WaitGroup
}

func plug(t *testing.T, so linktest.ScriptOptions) *plugged {
	t.Helper()
	master, slave, err := pty.Open()
	require.NoError(t, err)
	so.RealTime = true
	p := &plugged{master: master, script: linktest.NewScript(so)}
	p.Port, err = port.Open(slave.Name(), port.Options{})
	require.NoError(t, err)
	require.NoError(t, slave.Close())
	p.ended.Go(p.up)
	p.ended.Go(p.down)
	t.Cleanup(func() { p.unplug(); p.Port.Close() })
	return p
}

// up carries bytes to the script.
func (p *plugged) up() {
	b := make([]byte, 4096)
	for {
		p.mu.Lock()
		paused := p.paused
		p.mu.Unlock()
		if paused {
			time.Sleep(time.Millisecond)
			continue
		}
		n, err := p.master.Read(b)
		if err != nil || p.script.Write(b[:n]) != nil {
			return
		}
	}
}

// down carries bytes from the script.
func (p *plugged) down() {
	b := make([]byte, 4096)
	for {
		n, err := p.script.Read(b, 20*time.Millisecond)
		if err != nil {
			return
		}
		if _, err := p.master.Write(b[:n]); err != nil {
			return
		}
	}
}

func (p *plugged) pause(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.paused = on
}

// unplug has the far end go away.
func (p *plugged) unplug() {
	p.script.Close()
	p.master.Close()
	p.ended.Wait()
}

func TestOverASerialPort(t *testing.T) {
	p := plug(t, linktest.ScriptOptions{Sample: turning})
	c, err := Dial(p.Port, Options{LineRate: 250000})
	require.NoError(t, err)
	require.NoError(t, c.Arm(background))
	_, err = c.Drive(background, bench.Forward)
	require.NoError(t, err)
	trace, err := c.Watch(background, bench.Until{Span: 300 * time.Millisecond})
	require.NoError(t, err)
	require.Len(t, trace, 31)
	stats := c.State().Stats
	require.Zero(t, stats.BadFrames)
	require.Zero(t, stats.LostSamples)
	require.Equal(t, 250000, stats.LineRate)
	require.NoError(t, c.Close())
	require.Len(t, p.script.Served(wire.TypePark), 1)
}

func TestUnpluggedSerialPort(t *testing.T) {
	p := plug(t, linktest.ScriptOptions{})
	c, err := Dial(p.Port, Options{})
	require.NoError(t, err)
	time.AfterFunc(50*time.Millisecond, p.unplug)
	began := time.Now()
	_, err = c.Watch(background, bench.Until{Span: time.Hour})
	require.ErrorIs(t, err, link.Gone)
	require.Less(t, time.Since(began), 500*time.Millisecond)
	var e *link.Error
	require.ErrorAs(t, err, &e)
	require.Equal(t, p.Port.String(), e.Port)
	require.ErrorIs(t, c.Park(), link.Gone)
	require.NoError(t, c.Close())
}

// The line has stalled with 20 kB in it. The stop must be out in 10 ms, and
// reach the controller as soon as that reads again.
func TestStopOnAStalledSerialPort(t *testing.T) {
	p := plug(t, linktest.ScriptOptions{})
	c, err := Dial(p.Port, Options{})
	require.NoError(t, err)
	require.NoError(t, c.Arm(background))
	p.pause(true)
	time.Sleep(120 * time.Millisecond) // its last read returns with a heartbeat
	junk := append(bytes.Repeat([]byte{1}, 299), 0)
	for range 200 {
		if p.Port.Write(junk) != nil {
			break // the queue is full: the line is stalled
		}
	}
	result := make(chan error, 1)
	go func() { result <- c.Stop() }()
	time.Sleep(stopIsOut)
	before := len(p.script.Received())
	p.pause(false)
	require.NoError(t, <-result)
	var after []wire.Type
	for _, r := range p.script.Received()[before:] {
		after = append(after, r.Frame.Message.Type())
	}
	require.Equal(t, wire.TypeStop, after[0], "nothing passes it: %v", after)
	require.NoError(t, c.Close())
}

func TestSerialPortWithNobodyThere(t *testing.T) {
	p := plug(t, linktest.ScriptOptions{})
	p.script.SetDeaf(true)
	_, err := Dial(p.Port, Options{BootWait: 300 * time.Millisecond})
	require.ErrorIs(t, err, link.Silent)
	require.ErrorIs(t, p.Port.Write(nil), link.Closed)
}

func TestSerialPortWithSomethingElseThere(t *testing.T) {
	p := plug(t, linktest.ScriptOptions{Answer: lose(wire.TypeHello)})
	p.script.Inject(bytes.Repeat([]byte("$invented,sentence*00\r\n"), 5))
	_, err := Dial(p.Port, Options{BootWait: 300 * time.Millisecond})
	require.ErrorIs(t, err, link.Garbage)
}

func TestSerialPortOfAnotherVersion(t *testing.T) {
	p := plug(t, linktest.ScriptOptions{Answer: refuse(wire.TypeHello, bench.ReasonVersion, 2)})
	_, err := Dial(p.Port, Options{})
	require.ErrorIs(t, err, link.Version)
}

func TestSerialPortOfFewerAxes(t *testing.T) {
	p := plug(t, linktest.ScriptOptions{})
	_, err := Dial(p.Port, Options{Axes: 4})
	require.ErrorIs(t, err, link.FewerAxes)
}

func TestNothingIsLeftOfASerialPort(t *testing.T) {
	before := runtime.NumGoroutine()
	for range 3 {
		p := plug(t, linktest.ScriptOptions{})
		c, err := Dial(p.Port, Options{OnSample: func(bench.Sample) {}})
		require.NoError(t, err)
		require.NoError(t, c.Close())
		p.unplug()
	}
	for began := time.Now(); runtime.NumGoroutine() > before; time.Sleep(time.Millisecond) {
		require.Less(t, time.Since(began), 2*time.Second, "goroutines were left behind")
	}
}
