package chart

import (
	"flag"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"trunnion/tui/canvas"
	"trunnion/tui/glyph"
	"trunnion/tui/theme"
)

var update = flag.Bool("update", false, "rewrite the golden charts")

// golden compares a chart with the one on file.
func golden(t *testing.T, name string, c *canvas.Canvas) {
	t.Helper()
	path := filepath.Join("testdata", "golden", name+".txt")
	got := strings.Join(c.Rows(), "\n") + "\n"
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

func TestTicksAreFewRoundAndInside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e4, 1e4).Draw(t, "lo")
		span := math.Pow(10, rapid.Float64Range(-3, 4).Draw(t, "log span"))
		most := rapid.IntRange(1, 12).Draw(t, "most")
		ticks := Ticks(lo, lo+span, most)
		if len(ticks) > most {
			t.Fatalf("%d ticks, %d wanted at most", len(ticks), most)
		}
		for i, k := range ticks {
			if k.Value < lo-1e-6*span || k.Value > lo+span*(1+1e-6) {
				t.Fatalf("%v is outside", k.Value)
			}
			if v, err := strconv.ParseFloat(k.Label, 64); err != nil || math.Abs(v-k.Value) > 1e-9*math.Max(1, math.Abs(k.Value)) {
				t.Fatalf("%v is written %q", k.Value, k.Label)
			}
			if i < 2 {
				continue
			}
			step := ticks[1].Value - ticks[0].Value
			mantissa := step / math.Pow(10, math.Floor(math.Log10(step*(1+1e-9))))
			if d := math.Min(math.Abs(mantissa-1), math.Min(math.Abs(mantissa-2), math.Abs(mantissa-5))); d > 1e-6 {
				t.Fatalf("a step of %v is not round", step)
			}
		}
		if most >= 4 && len(ticks) < 2 {
			t.Fatalf("%d ticks where %d would do", len(ticks), most)
		}
	})
}

func TestTicksOfKnownRanges(t *testing.T) {
	labels := func(lo, hi float64, most int) []string {
		var list []string
		for _, k := range Ticks(lo, hi, most) {
			list = append(list, k.Label)
		}
		return list
	}
	assert.Equal(t, []string{"1500", "1510", "1520", "1530", "1540"}, labels(1498, 1541, 5))
	assert.Equal(t, []string{"-1.0", "-0.5", "0.0", "0.5", "1.0"}, labels(-1.1, 1.1, 5))
	assert.Equal(t, []string{"0.00", "0.02"}, labels(-0.01, 0.03, 2))
	assert.Nil(t, labels(1, 1, 5))
	assert.Nil(t, labels(0, math.Inf(1), 5))
}

// invented numbers of a curve.
func tangent() Curve {
	d := Curve{XUnit: "us", YUnit: "ratio"}
	f := func(x float64) float64 {
		e := math.Abs(x-1500) - 24
		if e < 0 {
			return 0
		}
		return math.Copysign(1.1*math.Tan(0.0018*e), x-1500)
	}
	for i := range 200 {
		x := 1080 + 840*float64(i)/199
		d.LineX, d.LineY = append(d.LineX, x), append(d.LineY, f(x))
		d.Low, d.High = append(d.Low, f(x)-0.05), append(d.High, f(x)+0.05)
	}
	for i, x := range []float64{1100, 1180, 1260, 1350, 1430, 1470, 1530, 1570, 1650, 1740, 1820, 1900} {
		d.Readings = append(d.Readings, Reading{X: x, Y: f(x), StdErr: 0.02, Inward: i%3 == 0})
	}
	d.Readings = append(d.Readings, Reading{X: 1650, Y: f(1650) + 0.25, StdErr: 0.15, Left: true})
	return d
}

func TestCurveCharts(t *testing.T) {
	for name, c := range map[string]*canvas.Canvas{
		"curve-full": canvas.New(70, 18, glyph.Full), "curve-console": canvas.New(70, 18, glyph.Console),
		"curve-ascii": canvas.New(70, 18, glyph.ASCII), "curve-small": canvas.New(40, 6, glyph.Full),
	} {
		DrawCurve(c, tangent())
		golden(t, name, c)
	}
}

// invented tries of a search.
func search() Edges {
	edge := func(middle, outward float64, offsets ...float64) Edge {
		e := Edge{Known: true, Pulse: middle, StdErr: 0.7, Text: strconv.FormatFloat(middle, 'f', 1, 64) + " ±0.7"}
		for _, o := range offsets {
			e.Tries = append(e.Tries, Try{Pulse: math.Round(middle + outward*o), Turned: math.Round(outward*o) > 0 == (outward > 0) && math.Round(o) != 0})
		}
		return e
	}
	return Edges{
		Below: Side{edge(1476, -1, 6, -4, 2, -2, 1, -1, 1, -1), edge(1479, -1, 4, -4, 1, -1, 1, -1)},
		Above: Side{edge(1524, 1, 6, -4, 2, -2, 1, -1, 1, -1), edge(1521, 1, 4, -4, 1, -1, 1, -1)},
	}
}

func TestEdgeChartsOfEveryHeight(t *testing.T) {
	for h := 4; h <= 11; h++ {
		c := canvas.New(77, h, glyph.Full)
		DrawEdges(c, search())
		golden(t, "edges-"+strconv.Itoa(h), c)
	}
	c := canvas.New(77, 9, glyph.ASCII)
	DrawEdges(c, search())
	golden(t, "edges-ascii", c)
	c = canvas.New(77, 18, glyph.Full)
	DrawHistory(c, search())
	golden(t, "history", c)
	c = canvas.New(77, 7, glyph.Full)
	DrawEdges(c, Edges{Above: search().Above})
	golden(t, "edges-one-side", c)
}

// A try that stood and one that turned at one place are told from either alone.
func TestBothAnswersAtOnePlaceAreSeen(t *testing.T) {
	c := canvas.New(77, 6, glyph.Full)
	e := Edge{Tries: []Try{{1520, true}, {1520, false}, {1510, false}, {1530, true}}}
	DrawEdges(c, Edges{Above: Side{Outward: e}})
	row := c.Rows()[0]
	assert.Equal(t, 1, strings.Count(row, "*"))
	assert.Equal(t, 1, strings.Count(row, "x"))
}

// Whatever the data and the size, nothing panics and nothing but the canvas is
// drawn on.
func TestChartsOfAnySize(t *testing.T) {
	number := rapid.Custom(func(t *rapid.T) float64 {
		return rapid.SampledFrom([]float64{0, 1, -1, 1e9, -1e-9, math.NaN(), math.Inf(1), 1500, 1500.1}).Draw(t, "number")
	})
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SampledFrom([]*glyph.Set{glyph.Full, glyph.Console, glyph.ASCII}).Draw(t, "set")
		c := canvas.New(rapid.IntRange(0, 90).Draw(t, "w"), rapid.IntRange(0, 30).Draw(t, "h"), g)
		var d Curve
		for range rapid.IntRange(0, 4).Draw(t, "readings") {
			d.Readings = append(d.Readings, Reading{X: number.Draw(t, "x"), Y: number.Draw(t, "y"), StdErr: number.Draw(t, "e")})
			d.LineX, d.LineY = append(d.LineX, number.Draw(t, "lx")), append(d.LineY, number.Draw(t, "ly"))
		}
		DrawCurve(c, d)
		var e Edge
		for range rapid.IntRange(0, 5).Draw(t, "tries") {
			e.Tries = append(e.Tries, Try{number.Draw(t, "pulse"), rapid.Bool().Draw(t, "turned")})
		}
		e.Known, e.Pulse, e.StdErr = true, number.Draw(t, "edge"), number.Draw(t, "error")
		DrawEdges(c, Edges{Below: Side{Outward: e}, Above: Side{Inward: e}})
		DrawHistory(c, Edges{Below: Side{Outward: e}})
		values := make([]float32, 16)
		for i := range values {
			values[i] = float32(number.Draw(t, "value"))
		}
		lo, hi := Span(values, 20, c.W, 1)
		DrawSweep(c, Sweep{Values: values, Newest: 20, Lo: lo, Hi: hi}, theme.Measured)
		for _, row := range c.Rows() {
			if n := len([]rune(row)); n != c.W {
				t.Fatalf("a row of %d signs on a canvas of %d", n, c.W)
			}
		}
	})
}

// A sweep stays where it is: from one value to the next only the newest column and
// the gap before it change.
func TestASweepChangesOneColumnAtATime(t *testing.T) {
	values := make([]float32, 256)
	for i := range values {
		values[i] = float32(math.Sin(float64(i)))
	}
	draw := func(newest int64) []string {
		c := canvas.New(40, 2, glyph.Full)
		DrawSweep(c, Sweep{Values: values, Newest: newest, Lo: -1, Hi: 1}, theme.Measured)
		return c.Rows()
	}
	for n := int64(60); n < 120; n++ {
		before, after := draw(n), draw(n+1)
		columns := map[int]bool{}
		for y := range before {
			a, b := []rune(before[y]), []rune(after[y])
			for x := range a {
				if a[x] != b[x] {
					columns[x] = true
				}
			}
		}
		assert.LessOrEqual(t, len(columns), 2, "from %d", n)
		blank := []rune(after[1])[(n+2)%40]
		assert.Equal(t, ' ', blank, "a gap stands before the newest")
	}
}

func TestNoughtIsNotNothingInASweep(t *testing.T) {
	c := canvas.New(10, 1, glyph.Full)
	DrawSweep(c, Sweep{Values: []float32{0, 0, float32(math.NaN()), 1}, Newest: 3, Lo: 0, Hi: 1}, theme.Measured)
	assert.Equal(t, "▁▁ █      ", c.Rows()[0])
}

func TestProgress(t *testing.T) {
	c := canvas.New(10, 1, glyph.ASCII)
	DrawProgress(c, 0, 0, 10, 0.31)
	assert.Equal(t, "###-------", c.Rows()[0])
	DrawProgress(c, 0, 0, 10, 7)
	assert.Equal(t, "##########", c.Rows()[0])
}

func BenchmarkCurve(b *testing.B) {
	d := tangent()
	for b.Loop() {
		DrawCurve(canvas.New(100, 30, glyph.Full), d)
	}
}
