package physics

import (
	"fmt"
	"math"
)

// ParameterError names a parameter that cannot be.
type ParameterError struct {
	Where string  // as in the file, such as axes[0].servo.link_ratio
	Value float64 // what stands there; NaN where it is no number
	Want  string  // what it must be
}

func (e *ParameterError) Error() string {
	if math.IsNaN(e.Value) {
		return fmt.Sprintf("%s must be %s", e.Where, e.Want)
	}
	return fmt.Sprintf("%s is %g; it must be %s", e.Where, e.Value, e.Want)
}

// checker keeps the first thing found wrong.
type checker struct{ err *ParameterError }

func (c *checker) fail(where string, value float64, want string) {
	if c.err == nil {
		c.err = &ParameterError{where, value, want}
	}
}

func (c *checker) within(where string, v, low, high float64, want string) {
	if !(v >= low && v <= high) {
		c.fail(where, v, want)
	}
}

func (c *checker) positive(where string, v float64) {
	if !(v > 0) || math.IsInf(v, 0) {
		c.fail(where, v, "more than zero")
	}
}

func (c *checker) atLeast0(where string, v float64) {
	if !(v >= 0) || math.IsInf(v, 0) {
		c.fail(where, v, "zero or more")
	}
}

// Validate reports the first parameter that cannot be, as a *ParameterError.
func (m Machine) Validate() error {
	c := &checker{}
	c.within("step_micros", float64(m.StepMicros), 0, 2000, "0 (for the default) to 2000")
	m.Drive.check(c)
	if len(m.Axes) == 0 {
		c.fail("axes", 0, "at least one")
	}
	if len(m.Joints) != len(m.Axes) {
		c.fail("joints", float64(len(m.Joints)), fmt.Sprintf("as many as there are axes, %d", len(m.Axes)))
	}
	for i := range m.Axes {
		where := fmt.Sprintf("axes[%d].", i)
		m.Axes[i].Servo.check(c, where+"servo.")
		m.Axes[i].Variator.check(c, where+"variator.")
		m.Axes[i].Output.check(c, where+"output.")
	}
	for j := range m.Joints {
		m.Joints[j].check(c, fmt.Sprintf("joints[%d].", j), len(m.Axes))
	}
	for i := range m.Counters {
		m.Counters[i].check(c, fmt.Sprintf("counters[%d].", i), len(m.Axes))
	}
	if c.err == nil {
		m.checkStiffness(c)
	}
	if c.err != nil {
		return c.err
	}
	return nil
}

func (d Drive) check(c *checker) {
	c.positive("drive.no_load_rpm", d.NoLoadRPM)
	c.positive("drive.stall_torque_nm", d.StallTorqueNM)
	c.positive("drive.inertia_kgm2", d.InertiaKGM2)
	c.atLeast0("drive.friction_nm", d.FrictionNM)
	c.atLeast0("drive.viscous_nms", d.ViscousNMS)
	c.within("drive.brake_fraction", d.BrakeFraction, 0, 1, "0 to 1")
	c.within("drive.wander_rms", d.WanderRMS, 0, 0.2, "0 to 0.2")
	c.atLeast0("drive.wander_seconds", d.WanderSeconds)
	if d.WanderRMS > 0 && !(d.WanderSeconds >= 0.2) {
		c.fail("drive.wander_seconds", d.WanderSeconds, "0.2 or more where there is a wander")
	}
}

func (s Servo) check(c *checker, at string) {
	c.positive(at+"centre_micros", s.CentreMicros)
	c.within(at+"degrees_per_micro", math.Abs(s.DegreesPerMicro), 1e-3, 1, "0.001 to 1, either sign")
	c.atLeast0(at+"dead_zone_micros", s.DeadZoneMicros)
	c.positive(at+"slew_degrees_per_second", s.SlewDegreesPerSecond)
	c.positive(at+"gain_per_second", s.GainPerSecond)
	c.positive(at+"lag_seconds", s.LagSeconds)
	c.positive(at+"link_ratio", s.LinkRatio)
	c.within(at+"horn_offset_degrees", s.HornOffsetDegrees, -60, 60, "-60 to 60")
	c.within(at+"horn_slip_degrees", s.HornSlipDegrees, -30, 30, "-30 to 30")
	c.within(at+"trunnion_offset_degrees", s.TrunnionOffsetDegrees, -60, 60, "-60 to 60")
	c.within(at+"play_degrees", s.PlayDegrees, 0, 10, "0 to 10")
	c.within(at+"least_tilt_degrees", s.LeastTiltDegrees, -80, 0, "-80 to 0")
	c.within(at+"most_tilt_degrees", s.MostTiltDegrees, 0, 80, "0 to 80")
	c.within(at+"drift_micros", s.DriftMicros, -200, 200, "-200 to 200")
	c.atLeast0(at+"drift_seconds", s.DriftSeconds)
	c.within(at+"repeat_micros", s.RepeatMicros, 0, 20, "0 to 20")
	c.within(at+"stick_micros", s.StickMicros, 0, 100, "0 to 100")
	c.within(at+"smallest_move_micros", s.SmallestMoveMicros, 0, 100, "0 to 100")
	c.atLeast0(at+"start_micros", s.StartMicros)
	c.atLeast0(at+"least_micros", s.LeastMicros)
	c.atLeast0(at+"most_micros", s.MostMicros)
	if c.err == nil {
		var ready servo
		ready.configure(s)
		if !(ready.low < ready.high) {
			c.fail(at+"most_tilt_degrees", s.MostTiltDegrees, "beyond least_tilt_degrees and within reach of the linkage")
		}
	}
}

func (v Variator) check(c *checker, at string) {
	c.positive(at+"drive_radius_mm", v.DriveRadiusMM)
	c.positive(at+"ball_radius_mm", v.BallRadiusMM)
	c.positive(at+"output_radius_mm", v.OutputRadiusMM)
	c.within(at+"contact_error_degrees", v.ContactErrorDegrees, -20, 20, "-20 to 20")
	c.within(at+"side_asymmetry", v.SideAsymmetry, -0.5, 0.5, "-0.5 to 0.5")
	c.positive(at+"ball_inertia_kgm2", v.BallInertiaKGM2)
	c.atLeast0(at+"ball_drag_nms", v.BallDragNMS)
	c.positive(at+"friction", v.Friction)
	c.positive(at+"input_normal_n", v.InputNormalN)
	c.positive(at+"output_normal_n", v.OutputNormalN)
	c.atLeast0(at+"patch_mm", v.PatchMM)
	if v.BareCapMM != 0 && !(v.BareCapMM >= v.PatchMM && v.PatchMM > 0 && v.BareCapMM < v.BallRadiusMM) {
		c.fail(at+"bare_cap_mm", v.BareCapMM, "0, or between patch_mm (more than zero) and the radius of the ball")
	}
	c.within(at+"elastic_creep", v.ElasticCreep, 0, 1, "0 to 1")
	v.DriveRunout.check(c, at+"drive_runout.")
	v.BallRunout.check(c, at+"ball_runout.")
	v.OutputRunout.check(c, at+"output_runout.")
	c.within(at+"loss.depth", v.Loss.Depth, 0, 1, "0 to 1")
	c.within(at+"loss.width_turns", v.Loss.WidthTurns, 0, 1, "0 to 1")
}

func (r Runout) check(c *checker, at string) {
	for k, v := range [3]float64{r.Once, r.Twice, r.Thrice} {
		c.within(at+[3]string{"once", "twice", "thrice"}[k], v, 0, 0.2, "0 to 0.2")
	}
}

func (o Output) check(c *checker, at string) {
	c.positive(at+"inertia_kgm2", o.InertiaKGM2)
	c.atLeast0(at+"friction_nm", o.FrictionNM)
	if o.Stiction != 0 {
		c.within(at+"stiction", o.Stiction, 1, 5, "0 (for 1) or 1 to 5")
	}
	c.atLeast0(at+"stribeck_rpm", o.StribeckRPM)
	c.atLeast0(at+"viscous_nms", o.ViscousNMS)
	c.within(at+"lead_degrees", o.LeadDegrees, 0, 60, "0 (no worm) to 60")
	c.within(at+"pressure_angle_degrees", o.PressureAngleDegrees, 0, 45, "0 to 45")
	c.within(at+"worm_friction", o.WormFriction, 0, 1, "0 to 1")
	c.positive(at+"mesh_stiffness_nm_per_rad", o.MeshStiffnessNMPerRad)
	c.atLeast0(at+"mesh_damping_nms", o.MeshDampingNMS)
	c.within(at+"lost_motion_turns", o.LostMotionTurns, 0, 2, "0 to 2")
}

func (j Joint) check(c *checker, at string, axes int) {
	switch j.Unit {
	case "mm":
		c.positive(at+"mass_kg", j.MassKG)
		if j.InertiaKGM2 != 0 || j.WeightNM != 0 || j.FrictionNM != 0 || j.ViscousNMS != 0 || j.StopNMPerDegree != 0 || j.StopDampingNMS != 0 {
			c.fail(at+"unit", math.NaN(), "deg where values in kg m2 or N m are given")
		}
		c.atLeast0(at+"friction_n", j.FrictionN)
		c.atLeast0(at+"viscous_ns_per_m", j.ViscousNSPerM)
		c.atLeast0(at+"stop_damping_ns_per_m", j.StopDampingNSPerM)
		if !j.Endless {
			c.positive(at+"stop_n_per_mm", j.StopNPerMM)
		}
	case "deg":
		c.positive(at+"inertia_kgm2", j.InertiaKGM2)
		if j.MassKG != 0 || j.WeightN != 0 || j.FrictionN != 0 || j.ViscousNSPerM != 0 || j.StopNPerMM != 0 || j.StopDampingNSPerM != 0 {
			c.fail(at+"unit", math.NaN(), "mm where values in kg or N are given")
		}
		c.atLeast0(at+"friction_nm", j.FrictionNM)
		c.atLeast0(at+"viscous_nms", j.ViscousNMS)
		c.atLeast0(at+"stop_damping_nms", j.StopDampingNMS)
		if !j.Endless {
			c.positive(at+"stop_nm_per_degree", j.StopNMPerDegree)
		}
	default:
		c.fail(at+"unit", math.NaN(), `"mm" or "deg"`)
	}
	if len(j.PerOutputTurn) != axes {
		c.fail(at+"per_output_turn", float64(len(j.PerOutputTurn)), "one number for each axis")
	}
	if !j.Endless {
		if !(j.Low < j.High) {
			c.fail(at+"high", j.High, "more than low, or the joint endless")
		}
		c.within(at+"start", j.Start, j.Low, j.High, "within low and high")
	}
}

func (s Counter) check(c *checker, at string, axes int) {
	switch s.Kind {
	case Incremental, Mark:
		c.positive(at+"counts_per_turn", max(s.CountsPerTurn, boolean(s.Kind == Mark)))
	case Absolute:
		if s.CountsPerTurn < 2 || s.CountsPerTurn != math.Trunc(s.CountsPerTurn) {
			c.fail(at+"counts_per_turn", s.CountsPerTurn, "a whole number, 2 or more")
		}
	default:
		c.fail(at+"kind", math.NaN(), `"incremental", "absolute" or "mark"`)
	}
	switch s.On {
	case OnShaft:
	case OnOutput, OnJoint:
		if s.Of < 0 || s.Of >= axes {
			c.fail(at+"of", float64(s.Of), fmt.Sprintf("0 to %d", axes-1))
		}
	default:
		c.fail(at+"on", math.NaN(), `"shaft", "output" or "joint"`)
	}
	c.within(at+"missed_fraction", s.MissedFraction, 0, 1, "0 to 1")
	c.atLeast0(at+"jitter_micros", s.JitterMicros)
	c.within(at+"false_per_second", s.FalsePerSecond, 0, 400, "0 to 400")
	c.atLeast0(at+"noise_counts", s.NoiseCounts)
	if s.NoiseCounts > 0 && s.Kind != Absolute {
		c.fail(at+"noise_counts", s.NoiseCounts, "0 unless the counter is absolute")
	}
	c.within(at+"wobble_counts", s.WobbleCounts, 0, max(s.CountsPerTurn/7, 0), "so small that the count never runs back, under a seventh of a turn")
}

func boolean(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
