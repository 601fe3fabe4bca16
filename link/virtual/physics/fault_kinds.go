package physics

// faultKind is a fault that Inject knows.
type faultKind struct {
	means string
	count func(*Machine) int // how many there are to strike
	apply func(p *Plant, f Fault)
}

func axisCount(m *Machine) int    { return len(m.Axes) }
func jointCount(m *Machine) int   { return len(m.Joints) }
func counterCount(m *Machine) int { return len(m.Counters) }
func one(*Machine) int            { return 1 }

// onServo, onVariator, onOutput and onCounter make what apply is of a change of
// one part's parameters.
func onServo(change func(s *Servo, size float64)) func(*Plant, Fault) {
	return func(p *Plant, f Fault) { change(&p.machine.Axes[f.Of].Servo, f.Size) }
}

func onVariator(change func(v *Variator, size float64)) func(*Plant, Fault) {
	return func(p *Plant, f Fault) { change(&p.machine.Axes[f.Of].Variator, f.Size) }
}

func onOutput(change func(o *Output, size float64)) func(*Plant, Fault) {
	return func(p *Plant, f Fault) { change(&p.machine.Axes[f.Of].Output, f.Size) }
}

func onCounter(change func(c *Counter, size float64)) func(*Plant, Fault) {
	return func(p *Plant, f Fault) { change(&p.machine.Counters[f.Of], f.Size) }
}

// nothing is a pressing force too small to move anything, as a share: a contact
// of no force at all is no contact for Validate.
const nothing = 1e-9

var faultKinds = map[string]faultKind{
	// Drive.
	"drive speed": {"0; no-load speed and stall torque times size", one, func(p *Plant, f Fault) {
		p.machine.Drive.NoLoadRPM *= f.Size
		p.machine.Drive.StallTorqueNM *= f.Size
	}},
	"drive torque": {"0; stall torque times size: it sags under load, or stalls", one, func(p *Plant, f Fault) {
		p.machine.Drive.StallTorqueNM *= f.Size
	}},

	// Servo and linkage.
	"servo dead": {"axis; the servo no longer answers", axisCount, func(p *Plant, f Fault) {
		p.axes[f.Of].servo.dead = true
	}},
	"servo reversed": {"axis; the servo turns the other way", axisCount, onServo(func(s *Servo, _ float64) {
		s.DegreesPerMicro = -s.DegreesPerMicro
	})},
	"servo saturates": {"axis; us either side of its centre beyond which the servo does not follow", axisCount, onServo(func(s *Servo, size float64) {
		s.LeastMicros, s.MostMicros = s.CentreMicros-size, s.CentreMicros+size
	})},
	"servo sticks": {"axis; us, beyond its dead zone, that the servo lets a pulse change before it leaves rest", axisCount, onServo(func(s *Servo, size float64) {
		s.StickMicros = size
	})},
	"servo hunts": {"axis; us of the servo's smallest move, by which it goes to and fro", axisCount, onServo(func(s *Servo, size float64) {
		s.SmallestMoveMicros, s.DeadZoneMicros = size, 0
	})},
	"servo unsteady": {"axis; us, standard deviation of where the servo comes to rest", axisCount, onServo(func(s *Servo, size float64) {
		s.RepeatMicros = size
	})},
	"servo drift": {"axis; us by which the servo's centre shifts as it warms, from now on", axisCount, onServo(func(s *Servo, size float64) {
		s.DriftMicros = size
		preset(&s.DriftSeconds, 240)
	})},
	"horn slip": {"axis; degrees by which the horn slips on the servo's shaft; a tooth of 25 is 14.4", axisCount, onServo(func(s *Servo, size float64) {
		s.HornSlipDegrees += size
	})},
	"play": {"axis; degrees of play in the linkage", axisCount, onServo(func(s *Servo, size float64) {
		s.PlayDegrees = size
	})},

	// Variator.
	"contact lost": {"axis; the output wheel no longer presses on the ball", axisCount, onVariator(func(v *Variator, _ float64) {
		v.OutputNormalN *= nothing
	})},
	"contact pressure": {"axis; both pressing forces times size", axisCount, onVariator(func(v *Variator, size float64) {
		v.InputNormalN *= size
		v.OutputNormalN *= size
	})},
	"contact loss": {"axis; depth of a contact loss over a quarter of the ball's turn", axisCount, onVariator(func(v *Variator, size float64) {
		v.Loss = Loss{Depth: size, WidthTurns: 0.25}
	})},
	"oil":           {"axis; traction coefficient times size", axisCount, onVariator(func(v *Variator, size float64) { v.Friction *= size })},
	"bare cap":      {"axis; mm of radius of the cap that carries nothing", axisCount, onVariator(func(v *Variator, size float64) { v.BareCapMM = size })},
	"sides unequal": {"axis; fraction by which the ball is larger for one side and smaller for the other", axisCount, onVariator(func(v *Variator, size float64) { v.SideAsymmetry = size })},
	"drive runout":  {"axis; once a turn of the drive wheel, fraction of the radius", axisCount, onVariator(func(v *Variator, size float64) { v.DriveRunout.Once = size })},
	"ball runout":   {"axis; once a turn of the ball, fraction of the radius", axisCount, onVariator(func(v *Variator, size float64) { v.BallRunout.Once = size })},
	"output runout": {"axis; once a turn of the output wheel, fraction of the radius", axisCount, onVariator(func(v *Variator, size float64) { v.OutputRunout.Once = size })},

	// Output and joint.
	"output friction": {"axis; friction of the output times size", axisCount, onOutput(func(o *Output, size float64) { o.FrictionNM *= size })},
	"jam":             {"axis; friction of the output in N m, more than the contact can carry", axisCount, onOutput(func(o *Output, size float64) { o.FrictionNM = size })},
	"worm friction":   {"axis; friction of the worm times size: a slick one lets the joint turn it back", axisCount, onOutput(func(o *Output, size float64) { o.WormFriction *= size })},
	"lost motion":     {"axis; turns of the output", axisCount, onOutput(func(o *Output, size float64) { o.LostMotionTurns = size })},
	"joint friction": {"joint; friction of the joint times size", jointCount, func(p *Plant, f Fault) {
		p.machine.Joints[f.Of].FrictionN *= f.Size
		p.machine.Joints[f.Of].FrictionNM *= f.Size
	}},
	"weight": {"joint; N that pull it down, or N m that turn it down", jointCount, func(p *Plant, f Fault) {
		if j := &p.machine.Joints[f.Of]; j.Unit == "mm" {
			j.WeightN = f.Size
		} else {
			j.WeightNM = f.Size
		}
	}},

	// Counters.
	"counter dead": {"counter; counts no more", counterCount, func(p *Plant, f Fault) {
		p.sensors[f.Of].dead = true
	}},
	"counter misses":   {"counter; fraction of the edges", counterCount, onCounter(func(c *Counter, size float64) { c.MissedFraction = size })},
	"counter noise":    {"counter; false edges a second", counterCount, onCounter(func(c *Counter, size float64) { c.FalsePerSecond = size })},
	"counter reversed": {"counter; counts the other way", counterCount, onCounter(func(c *Counter, _ float64) { c.Reversed = !c.Reversed })},
}
