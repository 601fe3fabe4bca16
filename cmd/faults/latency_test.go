package faults

import (
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/link/wire"
)

// TestStopLatency measures how long a SIGTERM takes to become a stop on the
// wire, as the tap sees it, while the drive is on. Only what the person at the
// bench would notice is asserted; the figures are logged.
func TestStopLatency(t *testing.T) {
	const tries = 20
	var mu sync.Mutex
	var all []time.Duration
	t.Run("tries", func(t *testing.T) {
		for range tries {
			together(t, "SIGTERM", func(t testing.TB) {
				b := newBed(t)
				c := run(t, job(b.path, newDir(t))...)
				b.until(t, c, "the drive was on", 20*time.Second, func() bool { return b.plant.value(drive) != 0 })
				sent := time.Now()
				c.signal(t, syscall.SIGTERM)
				c.wait(t, 10*time.Second)
				at := b.stopOnTheWire()
				require.False(t, at.IsZero(), "no stop was sent")
				mu.Lock()
				defer mu.Unlock()
				all = append(all, at.Sub(sent))
			})
		}
	})
	require.Len(t, all, tries)
	slices.Sort(all)
	p50, p99 := all[tries/2], all[tries-1]
	t.Logf("SIGTERM to the stop on the wire, %d tries: p50 %v, p99 (the longest) %v", tries, p50, p99)
	assert.Less(t, p99, 300*time.Millisecond)
}

// stopOnTheWire is when the first stop came through the tap.
func (b *bed) stopOnTheWire() time.Time {
	for _, s := range b.tap.sent() {
		if _, ok := s.frame.Message.(wire.Stop); ok {
			return s.wall
		}
	}
	return time.Time{}
}
