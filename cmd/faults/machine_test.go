package faults

import (
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"trunnion/link/virtual/physics"
	"trunnion/tuning/bench"
)

// machineFaults are those of the machine. They end in a finding, and exit code 3.
func machineFaults() []cell {
	inject := func(f physics.Fault) func(testing.TB, *bed, *child) int64 {
		return func(t testing.TB, b *bed, c *child) int64 {
			return b.do(func() {
				if err := b.plant.Inject(f); err != nil {
					t.Error(err)
				}
			})
		}
	}
	found := func(name string, within float64, f physics.Fault, told ...string) cell {
		return cell{
			fault: name, strike: inject(f), driveWithin: within, pulseWithin: within + 50,
			state: bench.Safe, code: 3, verdicts: []string{"sound"}, told: told, finding: true,
		}
	}
	// In the search for the edges it is not known yet where the output turns:
	// there the search's own end is what ends it.
	return []cell{
		found("drive stalls", 2000, physics.Fault{Name: "drive speed", Size: 0.001}, "drive does not turn", "stood still", "did the shaft turn?"),
		found("shaft's counter dead", 2000, physics.Fault{Name: "counter dead", Of: 0}, "drive does not turn", "did the shaft turn?"),
		found("output's counter dead in the search for edges", 9000, physics.Fault{Name: "counter dead", Of: 1}, "output does not turn"),
		found("servo dead in the search for edges", 9000, physics.Fault{Name: "servo dead"}, "output does not turn", "does the frame tilt?"),
	}
}

// afterTheCheck are faults that strike when it is known where the output turns:
// the job waits half a minute for that, and then they are seen at once.
func afterTheCheck() []cell {
	cells := machineFaults()[2:]
	late := func(strike func(testing.TB, *bed, *child) int64) func(testing.TB, *bed, *child) int64 {
		return func(t testing.TB, b *bed, c *child) int64 {
			b.until(t, c, "a curve's readings", 100*time.Second, func() bool { return strings.Contains(c.out.String(), "began     curve") })
			b.inMotion(t, c)
			return strike(t, b, c)
		}
	}
	for i := range cells {
		cells[i].fault = strings.Replace(cells[i].fault, "in the search for edges", "in the curve's readings", 1)
		cells[i].strike = late(cells[i].strike)
		cells[i].driveWithin, cells[i].pulseWithin = 8000, 8050 // the tilt is at neutral, or near an edge, in between
	}
	return cells
}

// reversedEncoder is a finding that does not end the job: the whole of it, flat
// out, on the demo of a first power-up.
func reversedEncoder(t testing.TB) {
	dir := newDir(t)
	c := start(t, exec.Command(binary, "run", "--demo", "firstday", "--out", dir))
	c.wait(t, 30*time.Second)
	assert.Equal(t, 3, c.code, c.errs)
	assert.Contains(t, c.out.String(), "findings to look at: 1")
	found := verdict(t, dir)
	assert.Equal(t, "sound", found)
	lines := printedIsRecorded(t, c.out.String(), dir)
	report("encoder the wrong way round", "the job was done to its end", found+", "+plural(lines, "line")+" kept", "3: direction reversed, with causes and cure")
}
