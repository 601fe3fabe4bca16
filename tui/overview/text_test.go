package overview

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tui/bar"
	"trunnion/tui/canvas"
	"trunnion/tui/glyph"
	"trunnion/tui/keys"
	"trunnion/tuning/bench"
	"trunnion/tuning/deadband"
	"trunnion/tuning/measure"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
)

func TestEstimatesGrowShorterAndNeverSurer(t *testing.T) {
	assert.Equal(t, []string{"411.80 ±0.04 rpm", "411.80 ±0.04", "411.8 ±0.1", "411.80 rpm", "411.8 rpm", "411.8"}, estimate(units.Estimate{Value: 411.8, StdErr: 0.04}, " rpm"))
	assert.Equal(t, "92 ±1", estimate(units.Estimate{Value: 92.1, StdErr: 0.8}, " ms")[2])
	assert.Equal(t, "92 ±1", estimate(units.Estimate{Value: 92.1, StdErr: 1.0}, " ms")[2])
	assert.Equal(t, "0.12 mm", estimate(units.Estimate{Value: 0.12, StdErr: 0.02}, " mm")[2], "0.1 ±0.1 would say less")
}

func TestAllotGivesEveryOneARowAndTheRestInOrder(t *testing.T) {
	assert.Equal(t, []int{2, 1, 1}, allot([]int{2, 3, 1}, 4))
	assert.Equal(t, []int{2, 3, 1}, allot([]int{2, 3, 1}, 9))
	assert.Equal(t, []int{1, 1, 1}, allot([]int{4, 4, 4}, 3))
}

// The edges of a search under way are those that its analysis will give, as far
// as they are bracketed.
func TestEdgesSoFarAreThoseOfTheAnalysis(t *testing.T) {
	var tries []deadband.Try
	for _, e := range []struct {
		side     deadband.Side
		approach measure.Approach
		turns    float64
		sign     float64
	}{{deadband.Above, measure.Outward, 1524.3, 1}, {deadband.Above, measure.Inward, 1521.2, 1}, {deadband.Below, measure.Outward, 1476.4, -1}, {deadband.Below, measure.Inward, 1479.6, -1}} {
		for _, offset := range []float64{8, -4, 4, -2, 2, -1, 1, 0} {
			p := e.turns + e.sign*offset
			tries = append(tries, deadband.Try{Side: e.side, Approach: e.approach, Pulse: units.Pulse(p), Turned: offset > 0})
		}
	}
	want, err := deadband.Analyse(tries)
	require.NoError(t, err)
	got := findEdges(job{}, tries)().(edgesFound).edges
	require.Len(t, got, 4)
	for i := range got {
		assert.Equal(t, want.Edges[i].Side, got[i].Side)
		assert.Equal(t, want.Edges[i].Approach, got[i].Approach)
		assert.InDelta(t, want.Edges[i].Pulse.Value, got[i].Pulse.Value, 1e-9)
		assert.InDelta(t, want.Edges[i].Pulse.StdErr, got[i].Pulse.StdErr, 1e-9)
	}
	some := findEdges(job{}, tries[8:])().(edgesFound).edges // those of the first edge are missing
	assert.Len(t, some, 3)
	assert.Contains(t, edgeWords(some), "inward")
	assert.Empty(t, findEdges(job{}, tries[:1])().(edgesFound).edges)
	assert.Empty(t, edgeWords(nil))
}

func TestTheBarSaysWhyWhereThereIsRoom(t *testing.T) {
	s := keys.State{Linked: true, Rig: bench.Safe, Axis: "traverse", Task: session.Check}
	row := func(w int) string {
		c := canvas.New(w, 1, glyph.Full)
		bar.Draw(c, keys.Table(), s)
		return c.Rows()[0]
	}
	assert.Contains(t, row(160), "(enter run: not armed)")
	assert.Contains(t, row(80), "(enter run)")
	for w := 20; w < 200; w++ {
		assert.Contains(t, row(w), "space stop", "stop is the last to go")
	}
	for _, name := range []string{"space stop", "a arm", "(enter run)", "(r run all)", "(c clear)", "tab view", "? keys", "q quit"} {
		assert.Contains(t, row(80), name)
	}
}

// The sentences are short and plain, and say nothing that only the program knows.
func TestEveryTaskIsTold(t *testing.T) {
	for _, task := range session.Tasks() {
		about := Tell(task)
		for _, text := range []string{about.Finds, about.Moves, about.Gives} {
			assert.NotEmpty(t, text, task)
			assert.False(t, strings.HasSuffix(text, "."), text)
		}
		assert.Equal(t, task.Moves(), about.Brief != "", task)
		assert.LessOrEqual(t, len(about.Brief), 38, "it must fit on a line of 80")
	}
}
