package wire_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
)

// Expected values: section 3 of PROTOCOL.md.
func TestNumbers(t *testing.T) {
	require.EqualValues(t, 1, wire.NextNumber(0))
	require.EqualValues(t, 65535, wire.NextNumber(65534))
	require.EqualValues(t, 1, wire.NextNumber(65535))

	for _, c := range []struct {
		n, last uint16
		newer   bool
	}{
		{1, 0, true}, {0, 0, false}, {5, 5, false}, {4, 5, false}, {6, 5, true},
		{32767, 0, true}, {32768, 0, false}, {65535, 0, false},
		{1, 65535, true}, {65535, 1, false}, {32766, 65535, true}, {32767, 65535, false},
	} {
		require.Equal(t, c.newer, wire.Newer(c.n, c.last), "%d after %d", c.n, c.last)
	}
}

func TestEveryNextNumberIsNewer(t *testing.T) {
	n := uint16(0)
	for range 70000 {
		next := wire.NextNumber(n)
		require.True(t, wire.Newer(next, n))
		require.False(t, wire.Newer(n, next))
		require.NotZero(t, next)
		n = next
	}
}
