package client

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/linktest"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

func TestDialLearnsTheController(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	id := c.Identity()
	require.Equal(t, "script", id.Name)
	require.Equal(t, 3, id.Axes)
	require.Len(t, id.Counters, 4)
	require.Equal(t, bench.CounterIdentity{Kind: bench.Incremental, CountsPerTurn: 2400, MostEdgeRate: 15000}, id.Counters[3])
	require.Equal(t, units.Pulse(500), id.PulseLeast)
	require.Equal(t, units.Pulse(2500), id.PulseMost)
	require.Equal(t, 100, id.SampleRate)

	var said []string
	for _, r := range s.Received() {
		said = append(said, r.Frame.String())
	}
	require.Equal(t, []string{
		"hello number=0 major=1 minor=0 token=7",
		"describe number=1 what=0", "describe number=2 what=1", "describe number=3 what=2", "describe number=4 what=3",
		"sample-rate number=5 hz=100",
	}, said)
}

func TestDialLowersTheSampleRate(t *testing.T) {
	id := linktest.UsualIdentity()
	id.MostSampleHz = 60
	c, _ := synchronous(t, linktest.ScriptOptions{Identity: id}, Options{SampleRate: 200})
	require.Equal(t, 60, c.Identity().SampleRate)

	id.MostSampleHz, id.Counters, id.Axes = 500, 8, 6 // 121 a second fill nine tenths of the line: PROTOCOL.md 12.7
	c, _ = synchronous(t, linktest.ScriptOptions{Identity: id}, Options{SampleRate: 200})
	require.Equal(t, 121, c.Identity().SampleRate)
}

func dialError(t *testing.T, s *linktest.Script, o Options) *link.Error {
	t.Helper()
	o.Synchronous = true
	_, err := Dial(s, o)
	var e *link.Error
	require.ErrorAs(t, err, &e)
	_, err = s.Read(make([]byte, 1), 0)
	require.ErrorIs(t, err, link.Closed, "a connection that failed is closed")
	return e
}

func TestDialSilent(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{})
	s.SetDeaf(true)
	e := dialError(t, s, Options{Name: "bench line"})
	require.Equal(t, link.Silent, e.Kind)
	require.Contains(t, e.Error(), "bench line")
	require.InDelta(t, bootWait.Seconds(), s.Now().Seconds(), 0.05)
}

func TestDialGarbage(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{Answer: lose(wire.TypeHello)})
	s.Inject(bytes.Repeat([]byte{0xf8, 0x00, 0x1c, 0xe0}, 20))
	require.Equal(t, link.Garbage, dialError(t, s, Options{}).Kind)
}

func TestDialHearsOnlyItself(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{
		Answer: func(_ time.Duration, f wire.Frame, _ []wire.Message) []wire.Message {
			return []wire.Message{f.Message}
		},
	})
	e := dialError(t, s, Options{})
	require.Equal(t, link.Silent, e.Kind)
	require.Contains(t, e.Detail, "comes back")
}

func TestDialOfAnotherVersion(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{Answer: refuse(wire.TypeHello, bench.ReasonVersion, 3)})
	e := dialError(t, s, Options{})
	require.Equal(t, link.Version, e.Kind)
	require.Contains(t, e.Detail, "3")

	id := linktest.UsualIdentity()
	id.Major = 2
	require.Equal(t, link.Version, dialError(t, linktest.NewScript(linktest.ScriptOptions{Identity: id}), Options{}).Kind)
}

func TestDialOfFewerAxes(t *testing.T) {
	for _, o := range []Options{{Axes: 4}, {Counters: 5}, {Axes: 3, Counters: 8}} {
		e := dialError(t, linktest.NewScript(linktest.ScriptOptions{}), o)
		require.Equal(t, link.FewerAxes, e.Kind)
		require.Contains(t, e.Detail, "3 axes and 4 counters")
	}
	synchronous(t, linktest.ScriptOptions{}, Options{Axes: 3, Counters: 4})
}

// A boot loader that gets bytes may stay for ever, so there is a long pause.
func TestDialWaitsForABootLoader(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{})
	lastByte := time.Duration(0)
	loader := &bootLoader{Script: s, patience: 1500 * time.Millisecond, last: &lastByte}
	c, err := Dial(loader, Options{Synchronous: true})
	require.NoError(t, err)
	defer c.Close()
	require.Less(t, s.Now(), 3*time.Second)
}

// bootLoader swallows what it gets until it has had no byte for so long.
type bootLoader struct {
	*linktest.Script
	patience time.Duration
	last     *time.Duration
	begun    bool
}

func (b *bootLoader) Write(p []byte) error {
	if b.begun || b.Now()-*b.last >= b.patience {
		b.begun = true
		return b.Script.Write(p)
	}
	*b.last = b.Now()
	return nil
}

func TestDialIgnoresAnOlderConnectionsIdentity(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{})
	old := linktest.UsualIdentity()
	old.Token, old.Axes, old.Name = 99, 1, "old"
	line, err := wire.Encode([]byte("half a frame\x00"), wire.Frame{Message: old})
	require.NoError(t, err)
	s.Inject(line)
	c, err := Dial(s, Options{Synchronous: true, Token: 7})
	require.NoError(t, err)
	defer c.Close()
	require.Equal(t, "script", c.Identity().Name)
}

func TestFreshUndoesEarlierSettings(t *testing.T) {
	_, s := synchronous(t, linktest.ScriptOptions{}, Options{Fresh: true})
	require.Len(t, s.Served(wire.TypeGuards), 1)
	require.Len(t, s.Served(wire.TypeTravelLimits), 1)
	require.Len(t, s.Served(wire.TypeNeutral), 3)
	limits := s.Served(wire.TypePulseLimits)
	require.Len(t, limits, 3)
	require.Equal(t, wire.PulseLimits{Axis: 2, LeastTenths: 5000, MostTenths: 25000}, limits[2].Frame.Message)
}

// ratedScript is a controller whose line has a rate: at the wrong one nothing
// gets through.
type ratedScript struct {
	*linktest.Script
	mine, theirs int
	broken       bool // it does not work at any other rate
	quietSince   time.Duration
	changes      []int
}

func newRated(so linktest.ScriptOptions) *ratedScript {
	r := &ratedScript{mine: wire.BaseBaud, theirs: wire.BaseBaud}
	inner := so.Answer
	so.Answer = func(at time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		r.quietSince = at
		if inner != nil {
			usual = inner(at, f, usual)
		}
		if m, ok := f.Message.(wire.LineRate); ok {
			r.theirs = int(m.Baud)
			if r.broken {
				r.theirs = -1
			}
		}
		return usual
	}
	r.Script = linktest.NewScript(so)
	return r
}

func (r *ratedScript) SetRate(baud int) error {
	r.mine = baud
	r.changes = append(r.changes, baud)
	return nil
}

func (r *ratedScript) Write(p []byte) error {
	if r.Now()-r.quietSince >= 500*time.Millisecond {
		r.theirs = wire.BaseBaud // PROTOCOL.md 7
	}
	if r.mine != r.theirs {
		return nil
	}
	return r.Script.Write(p)
}

func TestLineRateIsRaised(t *testing.T) {
	s := newRated(linktest.ScriptOptions{})
	c, err := Dial(s, Options{Synchronous: true, LineRate: 1000000, SampleRate: 200})
	require.NoError(t, err)
	defer c.Close()
	require.Equal(t, []int{250000}, s.changes, "not above what the controller can do")
	require.Equal(t, 250000, c.State().Stats.LineRate)
	_, err = c.Watch(background, bench.Until{Span: 100 * time.Millisecond})
	require.NoError(t, err)
}

func TestLineRateFallsBack(t *testing.T) {
	s := newRated(linktest.ScriptOptions{})
	s.broken = true
	c, err := Dial(s, Options{Synchronous: true, LineRate: 250000})
	require.NoError(t, err)
	defer c.Close()
	require.Equal(t, []int{250000, wire.BaseBaud}, s.changes)
	require.Equal(t, wire.BaseBaud, c.State().Stats.LineRate)
	_, err = c.Watch(background, bench.Until{Span: 100 * time.Millisecond})
	require.NoError(t, err)
}

func TestLineRateRefused(t *testing.T) {
	s := newRated(linktest.ScriptOptions{Answer: func(_ time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		return usual
	}})
	c, err := Dial(&refusing{s, wire.TypeLineRate}, Options{Synchronous: true, LineRate: 250000})
	require.NoError(t, err)
	defer c.Close()
	require.Empty(t, s.changes)
}

// refusing answers a type of request with a refusal and does not pass it on.
type refusing struct {
	*ratedScript
	what wire.Type
}

func (r *refusing) Write(p []byte) error {
	var d wire.Decoder
	for _, f := range d.Feed(p) {
		if f.Err == nil && f.Frame.Message.Type() == r.what {
			line, err := wire.Encode(nil, wire.Frame{Number: f.Frame.Number, Message: wire.Refuse{Request: r.what, Reason: bench.ReasonUnsupported}})
			r.Inject(line)
			return err
		}
	}
	return r.ratedScript.Write(p)
}

// After a silence the controller is back at the first rate, and the client
// follows it.
func TestLineRateAfterASilence(t *testing.T) {
	s := newRated(linktest.ScriptOptions{})
	c, err := Dial(s, Options{Synchronous: true, LineRate: 250000})
	require.NoError(t, err)
	defer c.Close()
	s.SetDeaf(true)
	_, err = c.Watch(background, bench.Until{Span: 10 * time.Second})
	var silent *bench.SilentError
	require.ErrorAs(t, err, &silent)
	s.SetDeaf(false)
	spend(t, c, 300*time.Millisecond)
	_, err = c.Watch(background, bench.Until{Span: 100 * time.Millisecond})
	require.NoError(t, err)
	require.Equal(t, []int{250000, wire.BaseBaud}, s.changes)
}

func TestDialPassesOnWhatTheConnectionSays(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{})
	require.NoError(t, s.Close())
	_, err := Dial(s, Options{Synchronous: true})
	require.ErrorIs(t, err, link.Closed)

	odd := errors.New("an invented fault")
	_, err = Dial(&failing{Script: linktest.NewScript(linktest.ScriptOptions{}), err: odd}, Options{Synchronous: true})
	require.ErrorIs(t, err, link.Gone)
	require.ErrorIs(t, err, odd)
}

// failing is a connection whose Read fails.
type failing struct {
	*linktest.Script
	err error
}

func (f *failing) Read([]byte, time.Duration) (int, error) { return 0, f.err }
