package study

import (
	"math"
	"sort"
	"testing"

	"github.com/stretchr/testify/assert"

	"trunnion/tuning/session"
)

// lastPart is the part of a step's watch over which the joint must stand, as in
// the proof itself.
const lastPart = 0.15

// truly are the settled errors of an axis's proving steps by the joint itself,
// in the unit of the proof, beside the proof's own. The place from which both
// count is where the joint stood before the first step.
func (s *sitting) truly(axis int) (errs, told []float64) {
	proof := s.document.Axes[axis].Prove
	joint, perUnit := s.judge(axis)
	home := s.at(int64(proof.Steps[0].At)).joints[joint]
	for k, step := range proof.Steps {
		from, to := int64(step.At), s.spell(axis, session.Prove).to
		if k+1 < len(proof.Steps) {
			to = int64(proof.Steps[k+1].At)
		}
		sum, n := 0.0, 0.0
		for _, m := range s.between(to-int64(lastPart*float64(to-from)), to) {
			sum, n = sum+m.joints[joint], n+1
		}
		errs = append(errs, (sum/n-home)*perUnit-step.To)
		told = append(told, step.Measured.Error)
	}
	return errs, told
}

// judge is the first joint that an axis moves, and how much of the proof's unit
// one of that joint's units is while the other outputs stand.
func (s *sitting) judge(axis int) (joint int, perUnit float64) {
	finest, per := math.Inf(1), 0.0
	joint = -1
	for j, r := range s.rig.Joints {
		if r.PerTurn[axis] == 0 {
			continue
		}
		if joint < 0 {
			joint = j
		}
		if turns := math.Abs(r.Tolerance / r.PerTurn[axis]); turns < finest {
			finest, per = turns, r.PerTurn[axis]
		}
	}
	return joint, per / s.rig.Joints[joint].PerTurn[axis]
}

// at is the last moment before a time, us; between are those of a stretch.
func (s *sitting) at(micros int64) moment {
	k := sort.Search(len(s.path), func(k int) bool { return s.path[k].micros > micros })
	return s.path[max(k-1, 0)]
}

func (s *sitting) between(from, to int64) []moment {
	a := sort.Search(len(s.path), func(k int) bool { return s.path[k].micros >= from })
	b := sort.Search(len(s.path), func(k int) bool { return s.path[k].micros > to })
	return s.path[a:b]
}

func TestProofByTheJointItself(t *testing.T) {
	both(t, func(t *testing.T, name string) {
		for i, axis := range machine(t, name).Axes {
			var truly, told deviations
			worst, passed := 0.0, 0
			tolerance, unit := 0.0, ""
			for _, s := range sittings(t, name) {
				proof := s.document.Axes[i].Prove
				tolerance, unit = proof.Tolerance, proof.Unit
				errs, says := s.truly(i)
				for k := range errs {
					truly.add(errs[k], 0)
					told.add(says[k], 0)
					worst = math.Max(worst, math.Abs(errs[k]))
				}
				if proof.Passed {
					passed++
				}
			}
			t.Logf("%s: settled error of %d steps by the joint rms %.3f, worst %.3f; by its own sensor rms %.3f %s; passed %d of %d",
				axis.Name, len(truly.off), truly.rms(), worst, told.rms(), unit, passed, seeds())
			assert.Less(t, told.rms(), tolerance)
			assert.Less(t, truly.rms(), 1.5*tolerance)
			assert.GreaterOrEqual(t, passed, seeds()*9/10-1)
		}
	})
}
