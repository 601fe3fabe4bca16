package variator

import (
	"fmt"
	"math"
	"sort"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// ratioScale is the number of table steps in a ratio of 1.
const ratioScale = 8192

// Table is the inverse curve as integers for a small controller. Points rise in ratio; between two points the pulse is
// a straight line, see PulseTenths. The two points next to zero lie on the edges of the dead band; zero itself is
// Neutral. Beyond the ends the pulse stays.
type Table struct {
	Points        []bench.TablePoint `json:"points"`
	NeutralTenths uint16             `json:"neutral_tenths"`
	// WorstErrorUs is the largest difference between PulseTenths and the exact inverse over every integer ratio between
	// the ends, zero apart; WorstErrorRatio is the largest difference that the curve then has in ratio.
	WorstErrorUs    float64 `json:"worst_error_us"`
	WorstErrorRatio float64 `json:"worst_error_ratio"`
}

// TableError reports a table that cannot be made.
type TableError struct {
	Points int
	Reason string
}

func (e *TableError) Error() string {
	return fmt.Sprintf("variator: table of %d points: %s", e.Points, e.Reason)
}

// DeadBand is what a dead-band search found, as far as a table needs it. The curve may leave zero nearer the centre than
// the output really starts to turn: where the output leaves rest with a jump, the ratios within the jump cannot be had.
type DeadBand struct {
	Lower, Upper units.Pulse // beyond these, below and above, the output surely turns
	Neutral      units.Pulse
}

// Table makes the inverse table with at most n points, 4 to 256, half of them on each side of zero or one more on the
// side that needs it more; fewer where these say all that tenths of a microsecond can. The points are placed where they
// make the worst error least, and their pulses are then moved by tenths of a microsecond for the same end; the error is
// counted on the very integers stored. The dead band is the curve's own.
func (m *Model) Table(n int) (Table, error) {
	_, _, centre := m.curve().edges()
	return m.table(n, -1, 1, units.Pulse(centre.Value))
}

// TableOutside is Table with the dead band that a search found: the two inner points are the ratios at its edges, as
// far as those are larger than the least the table can say.
func (m *Model) TableOutside(n int, band DeadBand) (Table, error) {
	low, high := float64(m.Ratio(band.Lower))*ratioScale, float64(m.Ratio(band.Upper))*ratioScale
	if low > high {
		low, high = high, low
	}
	return m.table(n, math.Min(-1, math.Floor(low)), math.Max(1, math.Ceil(high)), band.Neutral)
}

// TableSizes are the numbers of points that small controllers take, for a choice by error.
var TableSizes = [...]int{9, 17, 33}

// TablesOutside makes a table of each of TableSizes, as TableOutside does.
func (m *Model) TablesOutside(band DeadBand) ([]Table, error) {
	tables := make([]Table, len(TableSizes))
	for k, n := range TableSizes {
		var err error
		if tables[k], err = m.TableOutside(n, band); err != nil {
			return nil, err
		}
	}
	return tables, nil
}

// table makes a table whose inner ratios, in steps, are given.
func (m *Model) table(n int, innerLow, innerHigh float64, neutral units.Pulse) (Table, error) {
	if n < 4 || n > 256 {
		return Table{}, &TableError{n, "4 to 256 points"}
	}
	least, most := m.RatioRange()
	c := m.curve()
	lower, err := sampleSide(c, math.Ceil(float64(least)*ratioScale), innerLow)
	if err != nil {
		return Table{}, err
	}
	upper, err := sampleSide(c, innerHigh, math.Floor(float64(most)*ratioScale))
	if err != nil {
		return Table{}, err
	}
	low, high := splitPoints(lower, upper, n)
	t := Table{NeutralTenths: neutral.Tenths()}
	for _, side := range []struct {
		samples *sampled
		points  int
	}{{lower, low}, {upper, high}} {
		t.Points = append(t.Points, side.samples.place(side.points)...)
	}
	t.measure(c, lower)
	t.measure(c, upper)
	return t, nil
}

// PulseTenths is the pulse for a ratio as a controller computes it: straight between points, in whole tenths of a
// microsecond, rounded to nearest with halves away from zero.
func (t *Table) PulseTenths(ratioQ13 int32) uint16 {
	points := t.Points
	switch last := len(points) - 1; {
	case ratioQ13 == 0:
		return t.NeutralTenths
	case ratioQ13 <= points[0].RatioQ13:
		return points[0].PulseTenths
	case ratioQ13 >= points[last].RatioQ13:
		return points[last].PulseTenths
	}
	i := sort.Search(len(points), func(i int) bool { return points[i].RatioQ13 >= ratioQ13 })
	return between(points[i-1], points[i], ratioQ13)
}

// between is the straight line between two points, at a ratio from the one to the other.
func between(a, b bench.TablePoint, ratioQ13 int32) uint16 {
	over := int64(ratioQ13-a.RatioQ13) * (int64(b.PulseTenths) - int64(a.PulseTenths))
	span := int64(b.RatioQ13 - a.RatioQ13)
	half := span / 2
	if over < 0 {
		half = -half
	}
	return uint16(int64(a.PulseTenths) + (over+half)/span)
}

// measure takes the samples of one side into the worst errors. The curve itself is asked for a ratio only where its
// slope there, by the samples beside, says that the worst may be passed.
func (t *Table) measure(c curve, s *sampled) {
	last := len(s.pulse) - 1
	for i, want := range s.pulse {
		q := s.first + int32(i)
		got := float64(t.PulseTenths(q)) / 10
		off := math.Abs(got - want)
		t.WorstErrorUs = math.Max(t.WorstErrorUs, off)
		before, after := max(i-1, 0), min(i+1, last)
		rise := float64(after-before) / ratioScale
		// Between got and want the slope may be another than here: half as much again is allowed for.
		if 1.5*off*rise < t.WorstErrorRatio*math.Abs(s.pulse[after]-s.pulse[before]) {
			continue
		}
		u, _ := c.ratio(got, 0)
		t.WorstErrorRatio = math.Max(t.WorstErrorRatio, math.Abs(u-float64(q)/ratioScale))
	}
}

// splitPoints shares n points between the sides so that the worse of the two is as good as can be.
func splitPoints(lower, upper *sampled, n int) (low, high int) {
	if n%2 == 0 {
		return n / 2, n / 2
	}
	if lower.tolerance(n/2) > upper.tolerance(n/2) {
		return n/2 + 1, n / 2
	}
	return n / 2, n/2 + 1
}
