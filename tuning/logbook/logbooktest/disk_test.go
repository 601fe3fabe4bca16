package logbooktest

import (
	"errors"
	"io/fs"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/units"
)

func create(t *testing.T, d *Disk, name string) logbook.File {
	t.Helper()
	f, err := d.Create(name)
	require.NoError(t, err)
	return f
}

func write(t *testing.T, f logbook.File, text string) {
	t.Helper()
	n, err := f.Write([]byte(text))
	require.NoError(t, err)
	require.Equal(t, len(text), n)
}

// Content survives a power cut once the file was synced, a name once its folder was.
func TestWhatSurvives(t *testing.T) {
	d := NewDisk("runs")
	f := create(t, d, "runs/a")
	write(t, f, "synced")
	require.NoError(t, f.Sync())
	require.Nil(t, d.Crash(nil).Get("runs/a"), "its name is not kept yet")
	require.NoError(t, d.SyncDir("runs"))
	write(t, f, " and not")
	require.Equal(t, "synced", string(d.Crash(nil).Get("runs/a")))
	require.Equal(t, "synced and not", string(d.Kill().Get("runs/a")))
	require.Equal(t, "synced", string(d.Kill().Crash(nil).Get("runs/a")))
	require.NoError(t, f.Truncate(2))
	require.Equal(t, "sy", string(d.Get("runs/a")))
	require.Equal(t, "synced", string(d.Crash(nil).Get("runs/a")))
	write(t, f, "stem")
	require.NoError(t, f.Sync())
	require.Equal(t, "system", string(d.Crash(nil).Get("runs/a")))

	require.NoError(t, d.Rename("runs/a", "runs/b"))
	require.Equal(t, "system", string(d.Crash(nil).Get("runs/a")))
	require.NoError(t, d.SyncDir("runs"))
	require.Nil(t, d.Crash(nil).Get("runs/a"))
	require.Equal(t, "system", string(d.Crash(nil).Get("runs/b")))
	require.NoError(t, d.Remove("runs/b"))
	require.Nil(t, d.Get("runs/b"))
	require.Equal(t, "system", string(d.Crash(nil).Get("runs/b")))
	require.NoError(t, d.SyncDir("runs"))
	require.Nil(t, d.Crash(nil).Get("runs/b"))

	require.NoError(t, d.MakeDir("runs/deep"))
	g := create(t, d, "runs/deep/file")
	require.NoError(t, g.Sync())
	require.NoError(t, d.SyncDir("runs/deep"))
	names, err := d.Crash(nil).Names("runs")
	require.NoError(t, err)
	require.Empty(t, names, "a folder without a kept name takes what is in it along")
}

// With a source of chance, every state between nothing and all of what was not synced is found, and none before it.
func TestRandomPartsSurvive(t *testing.T) {
	d := NewDisk("runs")
	f := create(t, d, "runs/a")
	write(t, f, "12")
	require.NoError(t, f.Sync())
	require.NoError(t, d.SyncDir("runs"))
	write(t, f, "34")
	write(t, f, "56")
	rng := rand.New(rand.NewPCG(1, 1))
	found := map[string]bool{}
	for range 500 {
		found[string(d.Crash(rng).Get("runs/a"))] = true
	}
	for _, text := range []string{"12", "123", "1234", "12345", "123456", "12\x0034", "1234\x006", "1234\x00\x00"} {
		require.Equal(t, text != "12\x0034", found[text], "%q", text)
	}
	for text := range found {
		require.Equal(t, "12", text[:2])
	}
}

func TestFaults(t *testing.T) {
	d := NewDisk("runs")
	bad := errors.New("bad")
	f := create(t, d, "runs/a")
	d.Fault = func(op Op) (int, error) {
		require.Equal(t, "write", op.Name)
		require.Equal(t, 4, op.Bytes)
		if op.Number == 1 {
			return 3, bad
		}
		return 1, ErrShort
	}
	n, err := f.Write([]byte("text"))
	require.Equal(t, 3, n)
	require.ErrorIs(t, err, bad)
	n, err = f.Write([]byte("word"))
	require.Equal(t, 1, n)
	require.NoError(t, err)
	require.Equal(t, "texw", string(d.Get("runs/a")))
	require.Equal(t, 3, d.Ops())
}

func TestNamesAreChecked(t *testing.T) {
	d := NewDisk("runs")
	create(t, d, "runs/a")
	_, err := d.Create("runs/a")
	require.ErrorIs(t, err, fs.ErrExist)
	require.ErrorIs(t, d.MakeDir("runs"), fs.ErrExist)
	_, err = d.Create("none/a")
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = d.Open("runs/b")
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = d.Open("runs")
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = d.Names("runs/a")
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.ErrorIs(t, d.Remove("runs/b"), fs.ErrNotExist)
	require.ErrorIs(t, d.Rename("runs/b", "runs/c"), fs.ErrNotExist)
}

func TestLocksDoNotOutliveTheProcess(t *testing.T) {
	d := NewDisk("runs")
	now := time.Unix(1, 0)
	lock, err := d.Lock("runs/lock", now)
	require.NoError(t, err)
	_, err = d.Lock("runs/lock", now)
	var held *logbook.HeldError
	require.ErrorAs(t, err, &held)
	_, err = d.Kill().Lock("runs/lock", now)
	require.NoError(t, err)
	require.NoError(t, lock.Close())
	_, err = d.Lock("runs/lock", now)
	require.NoError(t, err)
}

// The invented lift is a likely one: it goes forward in time, no edge lies ahead, and counters follow their pulses.
func TestLiftIsLikely(t *testing.T) {
	lift := NewLift(rand.New(rand.NewPCG(2, 2)), 200)
	last := lift.Next()
	moved, tilted := 0, 0
	for range 5000 {
		s := lift.Next()
		require.Equal(t, last.Sequence+1, s.Sequence)
		require.InDelta(t, 5000, int(s.At-last.At), 2)
		for i := range LiftCounters {
			require.LessOrEqual(t, s.Counters[i].LastEdge, s.At)
			require.Equal(t, s.Counters[i].Count != last.Counters[i].Count, s.Counters[i] != last.Counters[i])
		}
		if s.Axes != last.Axes {
			tilted++
		}
		if s.Counters[1] != last.Counters[1] {
			moved++
		}
		last = s
	}
	require.Positive(t, tilted)
	require.Greater(t, moved, 500)
	lift.Reconnect()
	require.Less(t, lift.Next().At, units.Instant(1_000_000))
	require.Equal(t, bench.Counter{}, Hostile(rand.New(rand.NewPCG(3, 3)), 2, 2).Counters[2])
}
