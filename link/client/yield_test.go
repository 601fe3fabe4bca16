package client

import (
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link/linktest"
	"trunnion/link/wire"
)

// When samples stay out the client asks for them itself. A park that comes just
// then goes out at once, and does not wait until four of those have had no
// answer.
func TestOwnRequestGivesWay(t *testing.T) {
	var silent atomic.Bool
	c, s := synchronous(t, linktest.ScriptOptions{Answer: func(_ time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		if silent.Load() && f.Message.Type() == wire.TypeSampleRate {
			return nil
		}
		return usual
	}}, Options{})
	silent.Store(true)
	s.StopSamples()
	before := len(frames(s, wire.TypeSampleRate))
	for len(frames(s, wire.TypeSampleRate)) == before {
		require.True(t, c.step())
	}
	asked := s.Now()
	require.NoError(t, c.Park())
	parks := frames(s, wire.TypePark)
	require.Len(t, parks, 1)
	require.Less(t, parks[0].At-asked, 20*time.Millisecond)
}
