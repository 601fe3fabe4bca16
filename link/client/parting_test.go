package client

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/linktest"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// slow takes its time before an urgent frame leaves, as a loaded computer does.
type slow struct{ *linktest.Script }

func (s slow) WriteUrgent(p []byte) error {
	time.Sleep(20 * time.Millisecond)
	return s.Write(p)
}

// The stop of a client that breaks down goes out even if somebody who notices
// the breakdown closes the connection at once.
func TestCloseLeavesTheLastStopTheLine(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{RealTime: true})
	c, err := Dial(slow{s}, Options{OnSample: func(sample bench.Sample) {
		if sample.Sequence > 5 {
			panic("invented")
		}
	}})
	require.NoError(t, err)
	<-c.Done()
	require.NoError(t, c.Close())
	require.ErrorIs(t, c.State().Failure, link.Broken)
	require.NotEmpty(t, frames(s, wire.TypeStop), "the stop was sent before the line was closed")
}
