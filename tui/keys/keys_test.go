package keys

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"trunnion/tuning/bench"
	"trunnion/tuning/session"
)

func TestTheTableIsSound(t *testing.T) {
	for _, table := range [][]Key{Table(), Answers()} {
		seen := map[string]bool{}
		for _, k := range table {
			assert.NotEmpty(t, k.Press)
			for _, p := range k.Press {
				assert.False(t, seen[p], "%q has two meanings", p)
				seen[p] = true
				assert.Equal(t, strings.ToLower(p), p, "an upper-case letter may be the rest of an arrow key")
				found, ok := Find(table, p)
				assert.True(t, ok)
				assert.Equal(t, k.Intent, found.Intent)
			}
			if k.Bar > 0 {
				assert.NotEmpty(t, k.Name)
			}
		}
	}
	for _, k := range Table() {
		assert.NotEmpty(t, k.Help, k.Show)
	}
}

func TestStopIsNeverDisabled(t *testing.T) {
	for _, s := range []State{{}, {Running: true}, {Busy: "arming"}, {Rig: bench.Stopped}} {
		for _, p := range []string{" ", "ctrl+c", "q", "?"} {
			k, _ := Find(Table(), p)
			why, ok := k.Enabled(s)
			assert.True(t, ok, why)
		}
	}
}

// What is disabled says why; the table is that of the package's promises.
func TestWhatADisabledKeySays(t *testing.T) {
	ready := State{Linked: true, Rig: bench.Safe, Armed: true, Axis: "traverse", Task: session.Check}
	with := func(change func(*State)) State { s := ready; change(&s); return s }
	for _, c := range []struct {
		name  string
		press string
		state State
		why   string
	}{
		{"run", "enter", ready, ""},
		{"run without arming", "enter", with(func(s *State) { s.Armed = false }), "not armed"},
		{"fit moves nothing", "enter", with(func(s *State) { s.Armed, s.Task = false, session.Fit }), ""},
		{"run out of order", "enter", with(func(s *State) { s.Task, s.Needs = session.Curve, session.DeadBand }), "curve needs dead band first"},
		{"run while running", "enter", with(func(s *State) { s.Running = true }), "a task runs"},
		{"run while stopped", "enter", with(func(s *State) { s.Rig = bench.Stopped }), "stopped: clear that first"},
		{"run on a dead line", "enter", with(func(s *State) { s.Linked = false }), "no word from the controller"},
		{"all", "r", ready, ""},
		{"all again", "r", with(func(s *State) { s.AllDone = true }), "nothing is left"},
		{"all without arming", "r", with(func(s *State) { s.Armed = false }), "not armed"},
		{"arm", "a", with(func(s *State) { s.Armed = false }), ""},
		{"arm twice", "a", ready, "armed already"},
		{"arm while stopped", "a", with(func(s *State) { s.Rig = bench.Stopped }), "stopped: clear that first"},
		{"clear", "c", ready, "not stopped"},
		{"clear a stop", "c", with(func(s *State) { s.Rig = bench.Stopped }), ""},
		{"clear while parking", "c", with(func(s *State) { s.Rig, s.Busy = bench.Stopped, "parking" }), "parking"},
	} {
		k, ok := Find(Table(), c.press)
		assert.True(t, ok)
		why, enabled := k.Enabled(c.state)
		assert.Equal(t, c.why, why, c.name)
		assert.Equal(t, c.why == "", enabled, c.name)
	}
}
