package virtual

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/machines"
	"trunnion/link"
	"trunnion/link/virtual/physics"
	"trunnion/link/wire"
)

func machine(t testing.TB, name string) physics.Machine {
	t.Helper()
	text, err := machines.Text(name)
	require.NoError(t, err)
	m, err := physics.Read(text)
	require.NoError(t, err)
	return m
}

func newRig(t testing.TB, name string, o Options) *Rig {
	t.Helper()
	r, err := New(machine(t, name), o)
	require.NoError(t, err)
	return r
}

// caller speaks to a controller over a Conn, one request at a time.
type caller struct {
	t       testing.TB
	conn    link.Conn
	decoder wire.Decoder
	number  uint16
	beat    time.Duration // when the last frame went out
	other   []wire.Frame  // samples and notices
}

func call(t testing.TB, conn link.Conn) *caller {
	t.Helper()
	c := &caller{t: t, conn: conn}
	require.NoError(t, conn.Write([]byte{0}))
	return c
}

func (c *caller) send(m wire.Message) {
	c.t.Helper()
	number := uint16(0)
	switch m.(type) {
	case wire.Hello:
		c.number = 0
	case wire.Heartbeat:
	default:
		c.number = wire.NextNumber(c.number)
		number = c.number
	}
	line, err := wire.Encode(nil, wire.Frame{Number: number, Message: m})
	require.NoError(c.t, err)
	require.NoError(c.t, c.conn.Write(line))
	c.beat = c.conn.Now()
}

// read takes what comes within wait; answers are returned.
func (c *caller) read(wait time.Duration) (answers []wire.Frame) {
	c.t.Helper()
	var buffer [512]byte
	n, err := c.conn.Read(buffer[:], wait)
	require.NoError(c.t, err)
	for _, r := range c.decoder.Feed(buffer[:n]) {
		if r.Err != nil {
			continue
		}
		switch r.Frame.Message.(type) {
		case wire.Sample, wire.Notice:
			c.other = append(c.other, r.Frame)
		default:
			answers = append(answers, r.Frame)
		}
	}
	return answers
}

// try asks once and returns the answer, or nil if none comes in time.
func (c *caller) try(m wire.Message, wait time.Duration) wire.Message {
	c.t.Helper()
	c.send(m)
	for end := c.conn.Now() + wait; c.conn.Now() < end; {
		for _, f := range c.read(end - c.conn.Now()) {
			_, beat := m.(wire.Heartbeat)
			if f.Number != 0 || beat || f.Message.Type() == wire.TypeIdentity {
				return f.Message
			}
		}
	}
	return nil
}

func (c *caller) must(m wire.Message) wire.Message {
	c.t.Helper()
	answer := c.try(m, 200*time.Millisecond)
	require.NotNil(c.t, answer, "no answer to %v", m.Type())
	if _, refused := answer.(wire.Refuse); refused {
		require.Fail(c.t, "refused", "%v: %v", m.Type(), answer)
	}
	return answer
}

// mustSoon asks up to three times: the first answers may stick to garbage.
func (c *caller) mustSoon(m wire.Message) {
	c.t.Helper()
	for range 3 {
		require.NoError(c.t, c.conn.Write([]byte{0}))
		if c.try(m, 100*time.Millisecond) != nil {
			return
		}
	}
	require.Fail(c.t, "no answer", "%v", m.Type())
}

// stay listens for so long and sends heartbeats.
func (c *caller) stay(span time.Duration) {
	c.t.Helper()
	for end := c.conn.Now() + span; c.conn.Now() < end; {
		if c.conn.Now()-c.beat >= 100*time.Millisecond {
			c.send(wire.Heartbeat{})
		}
		c.read(min(20*time.Millisecond, end-c.conn.Now()))
	}
}

// greet says hello and arms.
func (c *caller) greet() wire.Identity {
	c.t.Helper()
	id := c.must(wire.Hello{Major: wire.Major, Token: 3}).(wire.Identity)
	c.must(wire.Arm{Token: 3})
	return id
}

// samples are those that came so far.
func (c *caller) samples() (all []wire.Sample) {
	for _, f := range c.other {
		if s, ok := f.Message.(wire.Sample); ok {
			all = append(all, s)
		}
	}
	return all
}
