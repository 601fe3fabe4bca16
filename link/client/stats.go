package client

import (
	"time"

	"trunnion/tuning/bench"
)

// Stats counts what passed over a connection.
type Stats struct {
	Frames          uint64 // valid ones received
	BadFrames       uint64 // dropped: broken, cut or with a wrong checksum
	Malformed       uint64 // valid, but their message was not understood
	Samples         uint64
	LostSamples     uint64        // gaps in their sequence, modulo 65536
	RepeatedSamples uint64        // that came twice
	Repeats         uint64        // requests sent again for want of an answer
	RoundTrip       time.Duration // of requests, smoothed over about eight
	MostRoundTrip   time.Duration
	LineRate        int // bits a second, as far as it is known; 0 is not
	SampleRate      int // a second
}

// roundTrip takes a measured round trip into the average, an eighth at a time,
// as RFC 6298 does.
func (s *Stats) roundTrip(d time.Duration) {
	if s.RoundTrip == 0 {
		s.RoundTrip = d
	}
	s.RoundTrip += (d - s.RoundTrip) / 8
	s.MostRoundTrip = max(s.MostRoundTrip, d)
}

// Snapshot is what is known of rig and connection at one moment.
type Snapshot struct {
	Sample  bench.Sample // the newest; its nought value before the first
	State   bench.State  // may be newer than the sample's
	Cause   bench.Cause
	Quiet   time.Duration // since the last valid frame
	Stats   Stats
	Failure error // why the connection is of no more use; nil while it is
}

// State returns a snapshot. It never waits for the line.
func (c *Client) State() Snapshot {
	c.mu.Lock()
	defer c.mu.Unlock()
	k := &c.core
	s := Snapshot{State: k.state.state, Cause: k.state.cause, Quiet: c.conn.Now() - k.heard, Stats: k.stats, Failure: k.failure}
	if newest := k.ring.newest(); newest != nil {
		s.Sample = *newest
	}
	d := k.decoder.Stats()
	s.Stats.Repeats = k.calls.repeats
	s.Stats.Frames, s.Stats.BadFrames, s.Stats.Malformed = d.Good, d.Dropped(), d.Malformed
	return s
}
