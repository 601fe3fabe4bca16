package physics

import (
	"fmt"
	"math"
)

// The explicit springs are stable while a step turns their oscillation by less
// than 2 rad; they are refused earlier, so that they are also followed fairly.
const (
	mostSpringTurn = 0.8 // rad a step
	mostDamperTurn = 0.5 // of the speed taken away in a step
)

// checkStiffness refuses springs and dampers too stiff for the step. Frequencies
// are bounded by the row sums of the stiffness matrix over the inertias.
func (m Machine) checkStiffness(c *checker) {
	h := float64(m.StepMicros) * 1e-6
	if m.StepMicros == 0 {
		h = DefaultStepMicros * 1e-6
	}
	rows := m.toJoint()
	back, ok := inverse(rows)
	if !ok {
		c.fail("joints", math.NaN(), "such that every output can be found from the joints (the rows of per_output_turn are not independent)")
		return
	}
	for j := range m.Joints {
		var ready joint
		ready.configure(m.Joints[j])
		var spring, damper float64
		for k := range m.Joints {
			var coupledSpring, coupledDamper float64
			for i := range m.Axes {
				g := back[i][j] * back[i][k]
				coupledSpring += g * m.Axes[i].Output.MeshStiffnessNMPerRad
				coupledDamper += g * m.Axes[i].Output.MeshDampingNMS
			}
			// The off-diagonal part counts with the root of the inertias.
			var other joint
			other.configure(m.Joints[k])
			share := math.Sqrt(ready.inertia / other.inertia)
			spring += share * math.Abs(coupledSpring)
			damper += share * math.Abs(coupledDamper)
		}
		if !ready.endless {
			spring += ready.stop
			damper += ready.stopDamping
		}
		at := fmt.Sprintf("joints[%d]: the stiffness of its meshes and stops", j)
		if v := h * math.Sqrt(spring/ready.inertia); v > mostSpringTurn {
			c.fail(at, v, fmt.Sprintf("at most %g rad of its oscillation a step: lower the stiffness or step_micros, or raise the inertia", mostSpringTurn))
		}
		if v := h * damper / ready.inertia; v > mostDamperTurn {
			c.fail(fmt.Sprintf("joints[%d]: the damping of its meshes and stops", j), v,
				fmt.Sprintf("at most %g of the speed a step: lower the damping or step_micros, or raise the inertia", mostDamperTurn))
		}
	}
	for i := range m.Axes {
		o := m.Axes[i].Output
		if v := h * math.Sqrt(o.MeshStiffnessNMPerRad/o.InertiaKGM2); v > mostSpringTurn {
			c.fail(fmt.Sprintf("axes[%d].output.mesh_stiffness_nm_per_rad", i), o.MeshStiffnessNMPerRad,
				fmt.Sprintf("at most %.3g for this step and inertia", o.InertiaKGM2*mostSpringTurn*mostSpringTurn/h/h))
		}
		if v := h * o.MeshDampingNMS / o.InertiaKGM2; v > mostDamperTurn {
			c.fail(fmt.Sprintf("axes[%d].output.mesh_damping_nms", i), o.MeshDampingNMS,
				fmt.Sprintf("at most %.3g for this step and inertia", o.InertiaKGM2*mostDamperTurn/h))
		}
	}
}
