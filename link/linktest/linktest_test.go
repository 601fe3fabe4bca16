package linktest

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

var (
	_ link.Conn        = (*Script)(nil)
	_ link.Conn        = (*Record)(nil)
	_ link.Conn        = (*Faulty)(nil)
	_ link.RateChanger = (*Faulty)(nil)
)

// say sends a message and returns what comes within 20 ms.
func say(t *testing.T, c link.Conn, number uint16, m wire.Message) []wire.Frame {
	t.Helper()
	line, err := wire.Encode(nil, wire.Frame{Number: number, Message: m})
	require.NoError(t, err)
	require.NoError(t, c.Write(line))
	return listen(t, c, 20*time.Millisecond)
}

func listen(t *testing.T, c link.Conn, d time.Duration) []wire.Frame {
	t.Helper()
	var decoder wire.Decoder
	decoder.SetShape(UsualIdentity().Shape())
	var all []wire.Frame
	for until := c.Now() + d; c.Now() < until; {
		b := make([]byte, 64)
		n, err := c.Read(b, until-c.Now())
		require.NoError(t, err)
		for _, r := range decoder.Feed(b[:n]) {
			if r.Err == nil {
				all = append(all, r.Frame)
			}
		}
	}
	return all
}

// The rules of PROTOCOL.md 3, by which nothing moves twice.
func TestScriptKeepsToTheNumbers(t *testing.T) {
	s := NewScript(ScriptOptions{})
	refusal := func(f []wire.Frame) bench.Reason {
		require.Len(t, f, 1)
		return f[0].Message.(wire.Refuse).Reason
	}
	tilt := wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 1, PulseTenths: 15000}}}
	require.Equal(t, bench.ReasonNoHello, refusal(say(t, s, 1, tilt)))
	require.Equal(t, bench.ReasonNoHello, refusal(say(t, s, 0, wire.Heartbeat{})))
	id := say(t, s, 0, wire.Hello{Major: 1, Token: 5})
	require.Equal(t, uint32(5), id[0].Message.(wire.Identity).Token)

	first := say(t, s, 1, tilt)
	require.Equal(t, first, say(t, s, 1, tilt), "a repeat gets the same answer")
	require.Len(t, s.Served(wire.TypeTilt), 1)
	other := wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 1, PulseTenths: 16000}}}
	require.Equal(t, bench.ReasonStale, refusal(say(t, s, 1, other)), "the number is used")
	require.Len(t, say(t, s, 3, other), 1)
	require.Equal(t, bench.ReasonStale, refusal(say(t, s, 2, tilt)))
	require.Len(t, s.Served(wire.TypeTilt), 2)
	require.IsType(t, wire.Notice{}, say(t, s, 2, wire.Stop{})[0].Message, "a stop is never stale")
	require.Len(t, s.Served(wire.TypeStop), 1)
	s.Restart()
	require.Equal(t, bench.ReasonNoHello, refusal(say(t, s, 4, tilt)))
}

func TestScriptSendsSamplesInTime(t *testing.T) {
	s := NewScript(ScriptOptions{})
	say(t, s, 0, wire.Hello{Major: 1, Token: 5})
	say(t, s, 1, wire.SampleRate{Hz: 50})
	all := listen(t, s, time.Second)
	require.InDelta(t, 50, len(all), 1)
	for i := 1; i < len(all); i++ {
		a, b := all[i-1].Message.(wire.Sample), all[i].Message.(wire.Sample)
		require.Equal(t, uint32(20000), b.TimeMicros-a.TimeMicros)
	}
}

func TestFaultyWithoutFaultsChangesNothing(t *testing.T) {
	s := NewScript(ScriptOptions{})
	f := NewFaulty(s, 1, Faults{}, Faults{})
	require.Len(t, say(t, f, 0, wire.Hello{Major: 1, Token: 5}), 1)
	say(t, f, 1, wire.SampleRate{Hz: 100})
	require.InDelta(t, 100, len(listen(t, f, time.Second)), 1)
	require.Empty(t, f.Spoiled())
	require.Error(t, f.SetRate(9600), "a script has no rate")
	require.NoError(t, f.Close())
	require.ErrorIs(t, f.Write([]byte("x")), link.Closed)
}

// Over many frames each fault is as frequent as it shall be.
func TestFaultyDoesWhatItShall(t *testing.T) {
	const frames = 4000
	chance := 0.1
	for _, kind := range []string{"drop", "repeat", "corrupt", "split", "delay"} {
		faults := map[string]Faults{
			"drop": {Drop: chance}, "repeat": {Repeat: chance}, "corrupt": {Corrupt: chance}, "split": {Split: chance}, "delay": {Delay: chance},
		}[kind]
		s := NewScript(ScriptOptions{})
		f := NewFaulty(s, 3, faults, Faults{})
		line, err := wire.Encode(nil, wire.Frame{Message: wire.Heartbeat{}})
		require.NoError(t, err)
		for range frames {
			require.NoError(t, f.Write(line))
			_, err := f.Read(make([]byte, 64), 60*time.Millisecond)
			require.NoError(t, err)
		}
		n := f.Spoiled()[kind]
		require.InDelta(t, frames*chance, n, 4*19, kind) // four standard deviations of the binomial
		// A broken delimiter, one byte of seven, costs the next frame as well:
		// four standard deviations of that are 28 of 400.
		want := map[string]int{"drop": frames - n, "repeat": frames + n, "corrupt": frames - n - n/7, "split": frames, "delay": frames}[kind]
		require.InDelta(t, want, len(s.Received()), map[string]float64{"corrupt": 28}[kind]+1, kind)
	}
}

func TestFaultyIsTheSameForASeed(t *testing.T) {
	run := func(seed uint64) []Received {
		s := NewScript(ScriptOptions{})
		all := Faults{Drop: 0.2, Repeat: 0.2, Corrupt: 0.2, Split: 0.2, Delay: 0.2}
		f := NewFaulty(s, seed, all, all)
		for i := range 200 {
			line, err := wire.Encode(nil, wire.Frame{Number: uint16(i + 1), Message: wire.Clear{}})
			require.NoError(t, err)
			require.NoError(t, f.Write(line))
			_, err = f.Read(make([]byte, 64), 10*time.Millisecond)
			require.NoError(t, err)
		}
		return s.Received()
	}
	require.Equal(t, run(4), run(4))
	require.NotEqual(t, run(4), run(5))
}

func TestRecordInWords(t *testing.T) {
	var b bytes.Buffer
	r := NewRecord(NewScript(ScriptOptions{}), &b)
	say(t, r, 0, wire.Hello{Major: 1, Token: 5})
	say(t, r, 1, wire.Arm{Token: 5})
	require.NoError(t, r.Write([]byte{7, 7, 0}))
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	require.Len(t, lines, 6)
	require.Equal(t, "0.000000 > hello number=0 major=1 minor=0 token=5", lines[0])
	require.Contains(t, lines[1], "0.002000 < identity number=0 major=1")
	require.Contains(t, lines[3], "< notice number=0 state=1")
	require.Contains(t, lines[4], "< ack number=1")
	require.Contains(t, lines[5], "> bad:")
}
