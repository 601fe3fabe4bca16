package virtual

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// turning is a rig that turns, with the caller and the Conn to it.
func turning(t *testing.T) (*Rig, *Conn, *caller) {
	rig := newRig(t, "trolley", Options{Seed: 2, Boot: 40})
	conn := Dial(rig, FlatOut)
	c := call(t, conn)
	c.greet()
	c.must(wire.Neutral{Axis: 0, PulseTenths: 15000})
	c.must(wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: 16800}}})
	c.must(wire.Drive{Direction: bench.Forward})
	c.stay(500 * time.Millisecond)
	require.Greater(t, rig.Plant().ShaftSpeed(), 3.0)
	return rig, conn, c
}

// listen listens without heartbeats.
func (c *caller) listen(span time.Duration) {
	for end := c.conn.Now() + span; c.conn.Now() < end; {
		c.read(end - c.conn.Now())
	}
}

func TestCutLineStopsTheRig(t *testing.T) {
	rig, conn, c := turning(t)
	conn.Do(func(r *Rig) { r.Cut(true) })
	c.stay(330 * time.Millisecond)
	state, cause := rig.Controller().State()
	assert.Equal(t, bench.Stopped, state)
	assert.Equal(t, bench.CauseSilence, cause)
	assert.EqualValues(t, 15000, rig.Controller().PulseTenths(0))
	conn.Do(func(r *Rig) { r.Cut(false) })
	assert.IsType(t, wire.Ack{}, c.try(wire.Clear{}, 100*time.Millisecond))
}

// Bytes that are lost, garbled or come twice cost a frame, and never move
// anything; the next frame is understood.
func TestSpoiledBytesCostAFrame(t *testing.T) {
	for name, spoil := range map[string]func(*Rig){
		"lost":           func(r *Rig) { r.Lose(ToController, 3) },
		"garbled":        func(r *Rig) { r.Garble(ToController, 3) },
		"doubled":        func(r *Rig) { r.Double(ToController, 3) },
		"answer lost":    func(r *Rig) { r.Lose(ToHost, 3) },
		"answer garbled": func(r *Rig) { r.Garble(ToHost, 3) },
		"answer doubled": func(r *Rig) { r.Double(ToHost, 3) },
	} {
		t.Run(name, func(t *testing.T) {
			_, conn, c := turning(t)
			conn.Do(spoil)
			require.Nil(t, c.try(wire.Describe{What: 1}, 100*time.Millisecond))
			require.NoError(t, conn.Write([]byte{0}))
			require.NotNil(t, c.try(wire.Describe{What: 1}, 100*time.Millisecond))
		})
	}
}

func TestNoiseOnTheLineIsDropped(t *testing.T) {
	rig, conn, c := turning(t)
	for range 20 {
		conn.Do(func(r *Rig) { r.Noise(ToController, 100); r.Noise(ToHost, 100) })
		require.NoError(t, conn.Write([]byte{0}))
		c.send(wire.Heartbeat{})
		c.stay(20 * time.Millisecond)
	}
	c.mustSoon(wire.Describe{What: 1})
	state, _ := rig.Controller().State()
	assert.Equal(t, bench.Moving, state, "heartbeats came through")
	assert.Positive(t, rig.Controller().DroppedFrames())
}

// A controller that hangs answers nothing, and its outputs stay as they are;
// when it goes on it has heard nothing for too long.
func TestFrozenController(t *testing.T) {
	rig, conn, c := turning(t)
	conn.Do(func(r *Rig) { r.Freeze(true) })
	require.Nil(t, c.try(wire.Heartbeat{}, 100*time.Millisecond))
	c.stay(2 * time.Second)
	assert.Greater(t, rig.Plant().ShaftSpeed(), 3.0)
	conn.Do(func(r *Rig) { r.Freeze(false) })
	c.listen(5 * time.Millisecond)
	state, cause := rig.Controller().State()
	assert.Equal(t, bench.Stopped, state)
	assert.Equal(t, bench.CauseSilence, cause)
}

func TestRestartInTheMiddle(t *testing.T) {
	rig, conn, c := turning(t)
	conn.Do(func(r *Rig) { r.Restart() })
	before := rig.Plant().ShaftTurns()
	require.Nil(t, c.try(wire.Heartbeat{}, 80*time.Millisecond), "it takes 100 ms to start")
	c.listen(100 * time.Millisecond)
	answer := c.try(wire.Describe{}, 100*time.Millisecond)
	require.IsType(t, wire.Refuse{}, answer)
	assert.Equal(t, bench.ReasonNoHello, answer.(wire.Refuse).Reason)
	c.listen(2 * time.Second)
	assert.Less(t, rig.Plant().ShaftSpeed(), 0.1, "the drive went off")
	assert.Greater(t, rig.Plant().ShaftTurns(), before)
	id := c.must(wire.Hello{Major: wire.Major, Token: 5}).(wire.Identity)
	assert.EqualValues(t, 41, id.Boot)
}

func TestStopInputOfTheRig(t *testing.T) {
	rig, conn, c := turning(t)
	conn.Do(func(r *Rig) { r.OpenStopInput(true) })
	c.stay(5 * time.Millisecond)
	state, cause := rig.Controller().State()
	assert.Equal(t, bench.Stopped, state)
	assert.Equal(t, bench.CauseInput, cause)
}

func TestUnpluggedAndClosed(t *testing.T) {
	_, conn, _ := turning(t)
	conn.Unplug()
	_, err := conn.Read(make([]byte, 10), time.Second)
	require.ErrorIs(t, err, link.Gone)
	require.ErrorIs(t, conn.Write([]byte{0}), link.Gone)

	_, conn, _ = turning(t)
	require.NoError(t, conn.Close())
	require.NoError(t, conn.Close())
	now := conn.Now()
	_, err = conn.Read(make([]byte, 10), time.Second)
	require.ErrorIs(t, err, link.Closed)
	require.ErrorIs(t, conn.WriteUrgent([]byte{0}), link.Closed)
	require.ErrorIs(t, conn.SetRate(250000), link.Closed)
	assert.Equal(t, now, conn.Now())
	var e *link.Error
	require.True(t, errors.As(err, &e))
	assert.Equal(t, "read", e.Op)
}
