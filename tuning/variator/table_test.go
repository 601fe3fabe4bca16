package variator

import (
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

func TestTableErrorIsWhatItSays(t *testing.T) {
	for name, m := range models(t) {
		for _, n := range []int{4, 9, 17, 33, 128} {
			table, err := m.Table(n)
			require.NoError(t, err, name)
			require.LessOrEqual(t, len(table.Points), n) // fewer where these reach as far
			require.GreaterOrEqual(t, len(table.Points), 4)
			checkTableShape(t, name, table, &m)
			worstUs, worstRatio := 0.0, 0.0
			for q := table.Points[0].RatioQ13; q <= table.Points[len(table.Points)-1].RatioQ13; q++ {
				if q == 0 {
					continue
				}
				exact, err := m.Inverse(units.Ratio(q) / 8192)
				require.NoError(t, err)
				got := slowTable(table.Points, q)
				require.Equal(t, got, table.PulseTenths(q), "%s, ratio step %d", name, q)
				worstUs = math.Max(worstUs, math.Abs(float64(got)/10-float64(exact.Pulse)))
				u := m.Ratio(units.PulseFromTenths(got))
				worstRatio = math.Max(worstRatio, math.Abs(float64(u)-float64(q)/8192))
				if n > 9 {
					q += 6 // every seventh step is enough to see a wrong count
				}
			}
			require.LessOrEqual(t, worstUs, table.WorstErrorUs+1e-9, name)
			require.LessOrEqual(t, worstRatio, table.WorstErrorRatio+1e-9, name)
			if n <= 9 {
				require.InDelta(t, table.WorstErrorUs, worstUs, 1e-6, name)
				require.InDelta(t, table.WorstErrorRatio, worstRatio, 1e-6, name)
			}
		}
	}
}

// slowTable is the straight line between points in floating point, for comparison.
func slowTable(points []bench.TablePoint, q int32) uint16 {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if q >= a.RatioQ13 && q <= b.RatioQ13 {
			rise := float64(q-a.RatioQ13) * (float64(b.PulseTenths) - float64(a.PulseTenths)) / float64(b.RatioQ13-a.RatioQ13)
			return uint16(float64(a.PulseTenths) + math.Round(rise)) // math.Round takes halves away from zero
		}
	}
	panic("beyond the table")
}

func checkTableShape(t *testing.T, name string, table Table, m *Model) {
	rising := m.Ratio(m.PulseMost) > 0
	jumps := 0
	for i := 1; i < len(table.Points); i++ {
		a, b := table.Points[i-1], table.Points[i]
		require.Less(t, a.RatioQ13, b.RatioQ13, name)
		if rising {
			require.LessOrEqual(t, a.PulseTenths, b.PulseTenths, name)
		} else {
			require.GreaterOrEqual(t, a.PulseTenths, b.PulseTenths, name)
		}
		if a.RatioQ13 == -1 && b.RatioQ13 == 1 {
			jumps++
			neutral := table.NeutralTenths
			require.True(t, min(a.PulseTenths, b.PulseTenths) <= neutral && neutral <= max(a.PulseTenths, b.PulseTenths), name)
		}
	}
	require.Equal(t, 1, jumps, "%s: the dead band is jumped once", name)
	least, most := m.RatioRange()
	require.InDelta(t, float64(least), float64(table.Points[0].RatioQ13)/8192, 1.0/8192, name)
	require.InDelta(t, float64(most), float64(table.Points[len(table.Points)-1].RatioQ13)/8192, 1.0/8192, name)
	require.Equal(t, table.Points[0].PulseTenths, table.PulseTenths(table.Points[0].RatioQ13-1000), "held beyond the end")
}

// Breakpoints placed by error must beat even ones by much on a curved inverse.
func TestPlacedPointsBeatEvenOnes(t *testing.T) {
	readings, _ := recipeReadings(1, gaussian)
	m, err := Fit(readings, FitOptions{})
	require.NoError(t, err)
	table, err := m.Table(16)
	require.NoError(t, err)
	even := Table{NeutralTenths: table.NeutralTenths}
	least, most := table.Points[0].RatioQ13, table.Points[len(table.Points)-1].RatioQ13
	add := func(from, to int32) {
		for k := range int32(8) {
			q := from + (to-from)*k/7
			inverse, err := m.Inverse(units.Ratio(q) / 8192)
			require.NoError(t, err)
			even.Points = append(even.Points, bench.TablePoint{RatioQ13: q, PulseTenths: inverse.Pulse.Tenths()})
		}
	}
	add(least, -1)
	add(1, most)
	c := m.curve()
	for _, span := range [][2]float64{{float64(least), -1}, {1, float64(most)}} {
		s, err := sampleSide(c, span[0], span[1])
		require.NoError(t, err)
		even.measure(c, s)
	}
	t.Logf("16 points: worst error %.2f us placed, %.2f us even", table.WorstErrorUs, even.WorstErrorUs)
	require.Less(t, table.WorstErrorUs, 0.6*even.WorstErrorUs)
}

func TestTableThatCannotBe(t *testing.T) {
	readings, _ := recipeReadings(1, gaussian)
	m, err := Fit(readings, FitOptions{})
	require.NoError(t, err)
	for _, n := range []int{-1, 3, 257} {
		_, err := m.Table(n)
		var wrong *TableError
		require.True(t, errors.As(err, &wrong))
	}
}

// More points, less error, and each table states its own; the inner points lie at the edges that a search found.
func TestTablesOfTheUsualSizes(t *testing.T) {
	readings, _ := recipeReadings(1, gaussian)
	m, err := Fit(readings, FitOptions{})
	require.NoError(t, err)
	lower, upper, centre := m.Edges()
	band := DeadBand{Lower: units.Pulse(lower.Value - 8), Upper: units.Pulse(upper.Value + 5), Neutral: units.Pulse(centre.Value)}
	tables, err := m.TablesOutside(band)
	require.NoError(t, err)
	require.Len(t, tables, len(TableSizes))
	for k, table := range tables {
		t.Logf("%d points: worst error %.3f us, %.5f in ratio", TableSizes[k], table.WorstErrorUs, table.WorstErrorRatio)
		require.LessOrEqual(t, len(table.Points), TableSizes[k])
		require.Equal(t, band.Neutral.Tenths(), table.PulseTenths(0))
		first := slices.IndexFunc(table.Points, func(p bench.TablePoint) bool { return p.RatioQ13 > 0 })
		for side, edge := range []units.Pulse{band.Lower, band.Upper} {
			inner := table.Points[first-1+side]
			require.InDelta(t, float64(edge), float64(inner.PulseTenths)/10, table.WorstErrorUs+0.3)
		}
		if k > 0 {
			require.Less(t, table.WorstErrorUs, tables[k-1].WorstErrorUs)
		}
	}
}
