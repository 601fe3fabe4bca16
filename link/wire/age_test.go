package wire_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
)

// Expected values: section 12.7 of PROTOCOL.md.
func TestAge(t *testing.T) {
	for _, c := range []struct {
		micros int64
		age    wire.Age
		back   int64
	}{
		{0, 0, 0},
		{1, 1, 1},
		{32767, 32767, 32767},
		{32768, 0x8080, 32768},
		{32895, 0x8080, 32768},
		{32896, 0x8081, 33024},
		{33024, 0x8081, 33024},
		{1000000, 0x8f42, 999936},
		{8387969, 0xfffe, 8388096},
		{8388223, 0xfffe, 8388096},
	} {
		require.Equal(t, c.age, wire.AgeFrom(c.micros), "%d us", c.micros)
		back, known := c.age.Micros()
		require.True(t, known)
		require.Equal(t, c.back, back)
	}
	for _, micros := range []int64{-1, -1 << 40, 8388224, 1 << 40} {
		require.Equal(t, wire.AgeUnknown, wire.AgeFrom(micros))
	}
	_, known := wire.AgeUnknown.Micros()
	require.False(t, known)
	require.EqualValues(t, 8388223, wire.MostAgeMicros)
}

func TestAgeIsOffByAtMostHalfAUnit(t *testing.T) {
	last := int64(-1)
	for micros := int64(0); micros <= wire.MostAgeMicros; micros += 13 {
		back, known := wire.AgeFrom(micros).Micros()
		require.True(t, known)
		require.GreaterOrEqual(t, back, last, "ages keep their order")
		last = back
		switch off := back - micros; {
		case micros < 32768:
			require.Zero(t, off)
		default:
			require.True(t, off > -128 && off <= 128, "%d us is off by %d", micros, off)
		}
	}
}

// Coarse ages that a fine one could tell are not sent, but are understood.
func TestCoarseAgesOfShortTimesAreUnderstood(t *testing.T) {
	micros, known := wire.Age(0x8000 | 3).Micros()
	require.True(t, known)
	require.EqualValues(t, 768, micros)
}
