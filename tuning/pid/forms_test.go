package pid

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestFormsAreTheSameController(t *testing.T) {
	// The definition: all forms have the same frequency response.
	rapid.Check(t, func(t *rapid.T) {
		s := SeriesPID{
			Kc: rapid.Float64Range(0.01, 100).Draw(t, "Kc"),
			Ti: rapid.Float64Range(0.01, 100).Draw(t, "Ti"),
			Td: rapid.Float64Range(0, 10).Draw(t, "Td"),
		}
		w := rapid.Float64Range(0.01, 100).Draw(t, "w")
		jw := complex(0, w)
		want := complex(s.Kc, 0) * (1 + 1/(complex(s.Ti, 0)*jw)) * (1 + complex(s.Td, 0)*jw)
		ideal, err := s.Ideal()
		require.NoError(t, err)
		parallel, err := s.Parallel()
		require.NoError(t, err)
		for _, got := range []complex128{
			complex(ideal.Kc, 0) * (1 + 1/(complex(ideal.Ti, 0)*jw) + complex(ideal.Td, 0)*jw),
			complex(parallel.Kp, 0) + complex(parallel.Ki, 0)/jw + complex(parallel.Kd, 0)*jw,
		} {
			require.InDelta(t, 0, math.Abs(real(got-want))+math.Abs(imag(got-want)), 1e-10*(math.Abs(real(want))+math.Abs(imag(want))))
		}
		back, err := parallel.Series()
		if s.Td > 0.999*s.Ti || s.Td < 1e-6*s.Ti {
			return // the two zeros change places, or the square root has lost their difference
		}
		require.NoError(t, err)
		near(t, s.Kc, back.Kc, 1e-6)
		near(t, s.Ti, back.Ti, 1e-6)
		near(t, s.Td, back.Td, 1e-6)
	})
}

func TestFilteredSeriesIsTheSameController(t *testing.T) {
	for _, l := range referenceLoops(t) { // those from the series form state their canonical gains: independent computation
		if l.Controller.Form[:6] != "series" {
			continue
		}
		g, err := SeriesPID{l.Controller.Kc, l.Controller.Ti, l.Controller.Td}.Filtered(l.Controller.Tf)
		require.NoError(t, err)
		near(t, l.Controller.Kp, g.Kp, 1e-12)
		near(t, l.Controller.Ki, g.Ki, 1e-12)
		near(t, l.Controller.Kd, g.Kd, 1e-12)
	}
}

func TestFormsThatDoNotExist(t *testing.T) {
	var form *FormError
	_, err := IdealPID{Kc: 1, Ti: 1, Td: 0.26}.Series()
	require.True(t, errors.As(err, &form), "complex zeros")
	_, err = ParallelPID{Ki: 1}.Ideal()
	require.True(t, errors.As(err, &form), "integral alone")
	_, err = ParallelPID{Ki: 1}.Series()
	require.True(t, errors.As(err, &form))
	_, err = IdealPID{Kc: 1}.Parallel()
	require.True(t, errors.As(err, &form), "integral time 0")
	_, err = SeriesPID{Kc: 1, Ti: 1, Td: 0.1}.Filtered(0.2)
	require.True(t, errors.As(err, &form), "filter longer than the derivative")

	s, err := ParallelPID{Kp: 2, Kd: 1}.Series() // no integral action: both forms are one
	require.NoError(t, err)
	require.Equal(t, SeriesPID{2, math.Inf(1), 0.5}, s)
	g, err := s.Parallel()
	require.NoError(t, err)
	require.Equal(t, ParallelPID{Kp: 2, Kd: 1}, g)
}
