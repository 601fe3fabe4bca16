package client

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link/linktest"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

var background = context.Background()

// synchronous connects a synchronous client to a script.
func synchronous(t *testing.T, so linktest.ScriptOptions, o Options) (*Client, *linktest.Script) {
	t.Helper()
	s := linktest.NewScript(so)
	o.Synchronous, o.Token = true, 7
	c, err := Dial(s, o)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	return c, s
}

// live connects a live client to a script on the wall's time.
func live(t *testing.T, so linktest.ScriptOptions, o Options) (*Client, *linktest.Script) {
	t.Helper()
	so.RealTime = true
	s := linktest.NewScript(so)
	c, err := Dial(s, o)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	return c, s
}

// turning has counter 0 turn by 1000 counts a second and counter 1 back by 100.
func turning(at time.Duration, s *wire.Sample) {
	s.Counters[0].Count = int32(at.Milliseconds())
	s.Counters[1].Count = -int32(at.Milliseconds() / 10)
}

// lose has every answer to a type of request lost on the line.
func lose(types ...wire.Type) func(time.Duration, wire.Frame, []wire.Message) []wire.Message {
	return func(_ time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		for _, t := range types {
			if f.Message.Type() == t {
				return nil
			}
		}
		return usual
	}
}

// refuse has a type of request refused.
func refuse(t wire.Type, r bench.Reason, detail int32) func(time.Duration, wire.Frame, []wire.Message) []wire.Message {
	return func(_ time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		if f.Message.Type() != t {
			return usual
		}
		return []wire.Message{wire.Refuse{Request: t, Reason: r, Detail: detail}}
	}
}

// frames are the received frames of one type, repeated ones too.
func frames(s *linktest.Script, t wire.Type) []linktest.Received {
	var some []linktest.Received
	for _, r := range s.Received() {
		if r.Frame.Message.Type() == t {
			some = append(some, r)
		}
	}
	return some
}

// spend lets a synchronous client run for so long.
func spend(t *testing.T, c *Client, d time.Duration) {
	t.Helper()
	require.NoError(t, c.pause(background, d))
}
