package overview

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tui/canvas"
)

// Parts and rules cover the screen, and none lies on another.
func TestTheLayoutCoversTheScreenOnce(t *testing.T) {
	for axes := 1; axes <= 6; axes++ {
		for w := LeastWidth; w <= 240; w += 31 {
			for h := LeastHeight; h <= 70; h += 3 {
				name := fmt.Sprintf("%dx%d, %d axes", w, h, axes)
				l := arrange(w, h, axes)
				cells := make([]int, w*h)
				add := func(r canvas.Rect) {
					for y := r.Y; y < r.Y+r.H; y++ {
						for x := r.X; x < r.X+r.W; x++ {
							if x < 0 || y < 0 || x >= w || y >= h {
								t.Fatalf("%s: %v reaches out", name, r)
							}
							cells[y*w+x]++
						}
					}
				}
				for _, r := range []canvas.Rect{l.Head, l.Grid, l.Title, l.Picture, l.Words, l.Live, l.Foot, l.Bar, l.Divider} {
					require.GreaterOrEqual(t, r.H, 0, name)
					add(r)
				}
				for _, y := range l.Rules {
					add(canvas.Rect{X: 0, Y: y, W: w, H: 1})
				}
				for i, n := range cells {
					if n != 1 {
						t.Fatalf("%s: %d parts lie on %d,%d", name, n, i%w, i/w)
					}
				}
				assert.Equal(t, axes+1, l.Grid.H, name)
				assert.GreaterOrEqual(t, l.Foot.H, 3, name)
			}
		}
	}
}

func TestTheLayoutOfTheCommonSizes(t *testing.T) {
	type heights struct{ picture, words, live, foot int }
	for _, c := range []struct {
		w, h, axes int
		want       heights
	}{
		{80, 20, 3, heights{5, 0, 2, 3}},
		{80, 24, 3, heights{6, 2, 2, 4}},
		{80, 24, 6, heights{6, 0, 2, 3}},
		{100, 30, 3, heights{9, 3, 3, 5}},
		{160, 50, 3, heights{31, 31, 5, 4}},
	} {
		l := arrange(c.w, c.h, c.axes)
		assert.Equal(t, c.want, heights{l.Picture.H, l.Words.H, l.Live.H, l.Foot.H}, "%dx%d, %d axes", c.w, c.h, c.axes)
	}
}

func TestColumnsUseTheWidthThereIs(t *testing.T) {
	width := func(s string) int { return len(s) }
	for w := LeastWidth; w < 240; w++ {
		name, cols := columns(w, []string{"traverse", "right drum"}, width)
		total := 1 + name + 1
		for i, c := range cols {
			assert.GreaterOrEqual(t, c, narrowest[i])
			assert.LessOrEqual(t, c, widest[i])
			total += c + 1
		}
		assert.LessOrEqual(t, total, w+1)
		assert.GreaterOrEqual(t, name, 10, "names are whole where they can be")
	}
}
