package rig_test

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

// Whatever the text: no panic; a mistake has a place inside the text and a remedy; a description that is accepted can be
// recorded, read back, and reckoned with.
func FuzzParse(f *testing.F) {
	f.Add(testdata(f, "full.toml"))
	for _, c := range badCases(f) {
		f.Add([]byte(c.text(f)))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := rig.Parse("fuzz", text)
		if err != nil {
			var all *rig.Errors
			require.True(t, errors.As(err, &all))
			require.NotEmpty(t, all.All)
			for _, e := range all.All {
				assert.NotEmpty(t, e.Remedy)
				assert.LessOrEqual(t, e.Line, strings.Count(string(text), "\n")+1)
				assert.Positive(t, e.Line)
				assert.Positive(t, e.Column)
			}
			return
		}
		record, err := json.Marshal(r)
		require.NoError(t, err)
		var back rig.Rig
		require.NoError(t, json.Unmarshal(record, &back))
		require.Equal(t, r.Hash(), back.Hash())

		counts := make([]units.Counts, r.Counters())
		for c := range counts {
			counts[c] = units.Counts(1000 * (c + 1))
		}
		turns := r.OutputTurns(counts)
		joints := r.ToJoints(turns)
		again := r.ToJoints(r.ToOutputs(joints))
		for j := range joints {
			reach := 0.0 // of the joint with these turns, whatever cancels
			for i, perTurn := range r.Joints[j].PerTurn {
				reach += math.Abs(perTurn * turns[i])
			}
			assert.InDelta(t, joints[j], again[j], 1e-9*reach)
		}
		assert.LessOrEqual(t, len(r.TravelLimits(r.Bounds(r.Standing(counts)))), len(r.Joints))
		r.Notes()
	})
}
