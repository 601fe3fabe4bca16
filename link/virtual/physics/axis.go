package physics

import "math"

// mode is what dry friction does to a part.
type mode int8

const (
	backward mode = iota - 1
	stuck
	onward
)

// axis is an axis made ready (SI) and its state.
type axis struct {
	servo servo

	// variator
	driveRadius, ballRadius, outputRadius float64
	contactSin, contactCos                float64 // of the contact error
	side                                  float64
	ballInertia, ballDrag                 float64
	inputLimit, outputLimit               float64 // mu N
	patch, cap, creep                     float64
	driveRipple, ballRipple, outputRipple ripple
	loss                                  Loss

	// output
	inertia, friction, stiction, stribeck2, viscous float64
	wormOnOutput, wormOnJoint                       float64 // mu' / tan lead, mu' tan lead
	stiffness, damping, halfGap                     float64

	// state
	ballSpeed, ballAngle     float64
	outputSpeed, outputAngle float64
	inputSlip, outputSlip    float64
	mode                     mode

	// geometry of the step
	inputArm, outputArm         float64 // contact speed over ball speed, m
	inputSpin, outputSpin       float64 // spin about the contact normal over ball speed
	rd, ro                      float64 // wheel radii with runout, m
	carried                     float64 // share of the output contact's load
	inputDamping, outputDamping float64
	spinDrag                    float64
	sprung, mesh, grip          float64 // spring's share of the mesh torque; mesh torque; dry friction that can hold the output
	share                       float64 // of the dry friction in use, -1 to 1
	jointSide                   float64 // torque on the joint's side, in output coordinates
	alpha, beta                 float64 // ball speed = alpha + beta * shaft speed
	alphaOut, betaOut           float64
}

func (a *axis) configure(m Axis) {
	a.servo.configure(m.Servo)
	v := m.Variator
	a.driveRadius, a.ballRadius, a.outputRadius = v.DriveRadiusMM/1e3, v.BallRadiusMM/1e3, v.OutputRadiusMM/1e3
	a.contactSin, a.contactCos = math.Sincos(v.ContactErrorDegrees * degree)
	a.side = v.SideAsymmetry
	a.ballInertia, a.ballDrag = v.BallInertiaKGM2, v.BallDragNMS
	a.inputLimit, a.outputLimit = v.Friction*v.InputNormalN, v.Friction*v.OutputNormalN
	a.patch, a.cap, a.creep = v.PatchMM/1e3, v.BareCapMM/1e3, v.ElasticCreep
	a.driveRipple, a.ballRipple, a.outputRipple = newRipple(v.DriveRunout), newRipple(v.BallRunout), newRipple(v.OutputRunout)
	a.loss = v.Loss

	o := m.Output
	a.inertia, a.friction, a.viscous = o.InertiaKGM2, o.FrictionNM, o.ViscousNMS
	a.stiction = max(o.Stiction, 1)
	a.stribeck2 = max(o.StribeckRPM*rpm*o.StribeckRPM*rpm, 1e-18)
	a.wormOnOutput, a.wormOnJoint = 0, 0
	if o.LeadDegrees > 0 {
		lead := math.Tan(o.LeadDegrees * degree)
		mu := o.WormFriction / math.Cos(o.PressureAngleDegrees*degree)
		a.wormOnOutput, a.wormOnJoint = mu/lead, mu*lead
	}
	a.stiffness, a.damping = o.MeshStiffnessNMPerRad, o.MeshDampingNMS
	a.halfGap = math.Pi * o.LostMotionTurns
}

// prepare sets up a step: arms of the contacts, wheel radii, and the share of
// the output contact that carries.
func (a *axis) prepare(shaftAngle float64) {
	s := &a.servo
	if s.moved {
		s.sin, s.cos = math.Sincos(s.tilt)
		s.moved = false
		// The drive wheel touches 90 degrees + e from the output wheel, so its
		// arm is R sin(90 + e - tilt) and its spin cos(90 + e - tilt).
		a.inputArm = a.ballRadius * (s.cos*a.contactCos + s.sin*a.contactSin)
		a.inputSpin = s.sin*a.contactCos - s.cos*a.contactSin
		a.outputSpin = s.cos
	}
	a.rd = a.driveRadius * a.driveRipple.at(shaftAngle)
	a.ro = a.outputRadius * a.outputRipple.at(a.outputAngle)
	radius := a.ballRadius * (1 + a.side)
	if s.tilt < 0 {
		radius = a.ballRadius * (1 - a.side)
	}
	a.outputArm = radius * s.sin * a.ballRipple.at(a.ballAngle)
	a.carried = a.loss.pressed(a.ballAngle)
	if a.cap > 0 {
		a.carried *= offCap((a.ballRadius*math.Abs(s.sin) - a.cap) / a.patch)
	}
}

// contacts takes the contact coefficients at the last known slip and speed.
func (a *axis) contacts() {
	inSpin, outSpin := a.ballSpeed*a.inputSpin, a.ballSpeed*a.outputSpin
	inScale := slipScale(a.creep, a.ballSpeed*a.inputArm, a.patch, inSpin)
	outScale := slipScale(a.creep, a.ballSpeed*a.outputArm, a.patch, outSpin)
	out := a.outputLimit * a.carried
	a.inputDamping = slipDamping(a.inputLimit, a.inputSlip, inScale)
	a.outputDamping = slipDamping(out, a.outputSlip, outScale)
	a.spinDrag = spinDamping(a.inputLimit, a.patch, a.inputSlip, inSpin)*a.inputSpin*a.inputSpin +
		spinDamping(out, a.patch, a.outputSlip, outSpin)*a.outputSpin*a.outputSpin
}

// press is how far a mesh is pressed together, rad, for a lead in rad: what is
// left of it beyond the lost motion.
func (a *axis) press(lead float64) float64 {
	return lead - min(max(lead, -a.halfGap), a.halfGap)
}

// loads takes the mesh torque for the output's lead over the joint's side (rad,
// rad/s), and from it the dry friction that can hold the output.
func (a *axis) loads(lead, leadSpeed float64) {
	a.sprung = a.stiffness * a.press(lead)
	a.mesh = 0
	if a.sprung > 0 {
		a.mesh = max(a.sprung+a.damping*leadSpeed, 0)
	} else if a.sprung < 0 {
		a.mesh = min(a.sprung+a.damping*leadSpeed, 0)
	}
	excess := 1 + (a.stiction-1)/(1+a.outputSpeed*a.outputSpeed/a.stribeck2)
	a.grip = (a.friction + math.Abs(a.mesh)*a.wormOnOutput) * excess
}

// eliminate writes ball and output speed as straight lines in the shaft speed,
// for the present mode and contact coefficients, and returns what the axis adds
// to the shaft's balance: resistance (N m s) and driving torque (N m).
func (a *axis) eliminate(h, ballSpeed, outputSpeed float64) (resistance, torque float64) {
	in, out := a.inputDamping, a.outputDamping
	ball := a.ballInertia/h + in*a.inputArm*a.inputArm + out*a.outputArm*a.outputArm + a.ballDrag + a.spinDrag
	right := a.ballInertia / h * ballSpeed
	drive := in * a.inputArm * a.rd
	if a.mode == stuck {
		a.alpha, a.beta = right/ball, drive/ball
		a.alphaOut, a.betaOut = 0, 0
	} else {
		output := a.inertia/h + a.viscous + out*a.ro*a.ro
		rightOut := a.inertia/h*outputSpeed - a.mesh - float64(a.mode)*a.grip
		couple := out * a.ro * a.outputArm
		ball -= couple * couple / output
		a.alpha, a.beta = (right+couple*rightOut/output)/ball, drive/ball
		a.alphaOut, a.betaOut = (rightOut+couple*a.alpha)/output, couple*a.beta/output
	}
	return in*a.rd*a.rd - drive*a.beta, drive * a.alpha
}

// resolve takes the new shaft speed, gives the axis its new speeds, and reports
// whether mode and contact coefficients agree with them. If not, it has changed
// the mode, and contacts will change the coefficients.
func (a *axis) resolve(h, shaftSpeed, outputSpeed float64) (agreed bool) {
	a.ballSpeed = a.alpha + a.beta*shaftSpeed
	a.outputSpeed = a.alphaOut + a.betaOut*shaftSpeed
	inSlip := a.rd*shaftSpeed - a.inputArm*a.ballSpeed
	outSlip := a.outputArm*a.ballSpeed - a.ro*a.outputSpeed
	agreed = near(a.inputSlip, inSlip, a.inputDamping, a.inputLimit) && near(a.outputSlip, outSlip, a.outputDamping, a.outputLimit)
	a.inputSlip, a.outputSlip = inSlip, outSlip

	if a.mode == stuck {
		needed := a.inertia/h*outputSpeed - a.mesh + a.outputDamping*a.ro*outSlip
		if math.Abs(needed) > a.grip {
			a.mode = onward
			if needed < 0 {
				a.mode = backward
			}
			return false
		}
		a.share = 0
		if a.grip > 0 {
			a.share = needed / a.grip
		}
		return agreed
	}
	if a.outputSpeed*float64(a.mode) < 0 {
		a.mode = stuck
		return false
	}
	a.share = float64(a.mode)
	return agreed
}

// slipAgreement is how far a traction force may be from its curve within a
// step, as a fraction of its limit; the next step starts from the new slip.
const slipAgreement = 1e-3

// near reports whether the force at the new slip with the old coefficient is
// close enough to the curve.
func near(before, now, damping, limit float64) bool {
	// d/dv of limit/sqrt(v^2 + vc^2) is -damping^3 v / limit^2, so the relative
	// change of the coefficient is about damping^2 |v dv| / limit^2.
	return damping*damping*math.Abs((now-before)*(now+before))*math.Abs(now)*damping <= 2*slipAgreement*limit*limit*limit
}
