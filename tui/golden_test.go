package tui

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/mattn/go-runewidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tui/glyph"
)

var update = flag.Bool("update", false, "rewrite the golden screens")

// shot is a screen worth keeping: a scene, and what is pressed in it.
type shot struct {
	name  string
	scene string
	then  func(*driver)
}

func press(names ...string) func(*driver) { return func(d *driver) { d.press(names...) } }

var shots = []shot{
	{"first-power-up", "first-power-up", nil},
	{"arm-question", "first-power-up", press("a")},
	{"armed", "armed", nil},
	{"run-question", "armed", press("enter")},
	{"dead-band", "dead-band", nil},
	{"curve", "curve", nil},
	{"fitted", "fitted", nil},
	{"finding", "finding", nil},
	{"failed", "failed", nil},
	{"stopped", "stopped", nil},
	{"proved", "proved", nil},
	{"all-done", "all-done", nil},
	{"silent", "silent", func(d *driver) { d.silence(4 * time.Second) }},
	{"help", "first-power-up", press("?")},
	{"disabled-key", "first-power-up", press("r")},
}

var sizes = [][2]int{{80, 24}, {100, 30}, {160, 50}}

func goldenPath(name string, w, h int) string {
	return filepath.Join("testdata", "golden", fmt.Sprintf("%s.%dx%d.txt", name, w, h))
}

// take draws a shot.
func take(t *testing.T, s shot, g *glyph.Set, w, h int) *driver {
	d := newDriver(t, s.scene, g, w, h)
	if s.then != nil {
		s.then(d)
	}
	return d
}

// Golden screens catch what changed; whether it is right the behaviour tests say.
func TestGoldenScreens(t *testing.T) {
	wanted := map[string]bool{}
	check := func(t *testing.T, name string, d *driver) {
		path := goldenPath(name, d.root.w, d.root.h)
		wanted[path] = true
		got := d.text() + "\n"
		if *update {
			require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
			require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
			return
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err, "run the tests with -update, and look at what they wrote")
		assert.Equal(t, string(want), got)
	}
	for _, s := range shots {
		for _, size := range sizes {
			t.Run(fmt.Sprintf("%s/%dx%d", s.name, size[0], size[1]), func(t *testing.T) {
				check(t, s.name, take(t, s, glyph.Full, size[0], size[1]))
			})
		}
	}
	t.Run("too-small", func(t *testing.T) { check(t, "too-small", take(t, shots[4], glyph.Full, 60, 16)) })
	t.Run("ascii", func(t *testing.T) { check(t, "dead-band-ascii", take(t, shots[4], glyph.ASCII, 80, 24)) })
	t.Run("console", func(t *testing.T) { check(t, "curve-console", take(t, shots[5], glyph.Console, 80, 24)) })
	files, err := filepath.Glob(filepath.Join("testdata", "golden", "*"))
	require.NoError(t, err)
	for _, f := range files {
		assert.True(t, wanted[f], "%s belongs to no test", f)
	}
}

// Every screen is exactly as wide and high as the terminal, at every size there
// is, in every set of signs, and the state is always to be seen.
func TestScreensFillTheTerminalExactly(t *testing.T) {
	narrow := runewidth.Condition{StrictEmojiNeutral: true}
	for _, s := range shots {
		d := take(t, s, glyph.Full, 80, 24)
		word := "SAFE ARMED MOVING STOPPED"
		for _, g := range []*glyph.Set{glyph.Full, glyph.Console, glyph.ASCII} {
			d.root.glyphs = g
			for _, size := range [][2]int{{1, 1}, {20, 5}, {79, 24}, {80, 19}, {80, 20}, {80, 24}, {81, 25}, {99, 31}, {129, 40}, {130, 40}, {200, 60}, {300, 100}} {
				d.root.resize(size[0], size[1])
				rows := d.screen().Rows()
				require.Len(t, rows, size[1])
				for y, row := range rows {
					require.Equal(t, size[0], narrow.StringWidth(row), "%s at %v, row %d: %q", s.name, size, y, row)
					if g.ASCII {
						require.Less(t, strings.IndexFunc(row, func(r rune) bool { return r > 126 }), 0, "%q", row)
					}
				}
				if size[0] < 20 || s.name == "help" {
					continue
				}
				found := false
				for w := range strings.FieldsSeq(word) {
					found = found || strings.Contains(strings.Join(rows, "\n"), " "+w)
				}
				assert.True(t, found, "%s at %v shows no state", s.name, size)
			}
		}
	}
}
