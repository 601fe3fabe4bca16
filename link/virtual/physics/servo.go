package physics

import "math"

const (
	degree = math.Pi / 180
	rpm    = 2 * math.Pi / 60

	// servoLeastSpeed is the asked speed below which the servo's own friction
	// wins, rad/s. At a gain of 40/s it leaves it some 0.006 us short.
	servoLeastSpeed = 0.02 * degree

	// servoFrame is how often a servo with a smallest move decides, s: the 20 ms
	// of the pulses.
	servoFrame = 0.02
)

// servo is a servo made ready (SI) and its state.
type servo struct {
	// parameters
	centre, radPerMicro, halfZone, slew, gain, lag float64
	least, most                                    float64 // pulse limits, us
	link, hornSin, horn, offset, halfPlay          float64
	low, high                                      float64 // shaft stops, rad
	lowTilt, highTilt                              float64
	drift, driftRate                               float64
	repeat, stick                                  float64 // us; rad
	smallest                                       float64 // speed of the smallest move in a frame, rad/s

	// state
	pulse    float64 // in force, us; 0 none
	angle    float64 // of the shaft from its centre, rad
	speed    float64
	warmth   float64 // 0 cold to 1 warm
	tilt     float64 // of the ball's spin axis, rad
	linked   float64 // tilt that the linkage asks, rad
	atStop   bool
	sin, cos float64 // of the tilt
	dead     bool    // answers no more
	moved    bool    // tilt changed since the trigonometry was done
	astray   float64 // by which it misses the pulse in force, us
	frame    float64 // left of its own frame, s
	held     float64 // speed asked for the rest of that frame, rad/s
	chance   chance
}

func (s *servo) configure(m Servo) {
	s.centre, s.radPerMicro = m.CentreMicros, m.DegreesPerMicro*degree
	s.halfZone = m.DeadZoneMicros / 2 * math.Abs(s.radPerMicro)
	s.slew, s.gain, s.lag = m.SlewDegreesPerSecond*degree, m.GainPerSecond, m.LagSeconds
	s.least, s.most = m.LeastMicros, m.MostMicros
	s.link, s.horn = m.LinkRatio, (m.HornOffsetDegrees+m.HornSlipDegrees)*degree
	s.hornSin = math.Sin(m.HornOffsetDegrees * degree)
	s.offset, s.halfPlay = m.TrunnionOffsetDegrees*degree, m.PlayDegrees/2*degree
	s.lowTilt, s.highTilt = m.LeastTiltDegrees*degree, m.MostTiltDegrees*degree
	s.low, s.high = s.shaftAt(s.lowTilt), s.shaftAt(s.highTilt)
	s.drift = m.DriftMicros
	s.driftRate = 0
	if m.DriftSeconds > 0 {
		s.driftRate = 1 / m.DriftSeconds
	}
	s.repeat = m.RepeatMicros
	s.stick = m.StickMicros * math.Abs(s.radPerMicro)
	s.smallest = m.SmallestMoveMicros * math.Abs(s.radPerMicro) / servoFrame
	s.moved = true
}

// place puts the servo at rest where a pulse would bring it without dead zone.
func (s *servo) place(micros float64) {
	s.angle = min(max((micros-s.centre)*s.radPerMicro, s.low), s.high)
	s.linked = s.linkage(s.angle)
	s.tilt = s.linked
	s.moved = true
}

// linkage is the tilt for an angle of the shaft, both rad: the push rod keeps
// the sines of horn and crank in proportion.
func (s *servo) linkage(angle float64) float64 {
	return math.Asin(min(max(s.link*(math.Sin(angle+s.horn)-s.hornSin), -1), 1)) + s.offset
}

// shaftAt is the shaft angle for a tilt, within a quarter turn of the horn; a
// tilt that the linkage cannot reach gives the end of its reach.
func (s *servo) shaftAt(tilt float64) float64 {
	return math.Asin(min(max(math.Sin(tilt-s.offset)/s.link+s.hornSin, -1), 1)) - s.horn
}

// heed takes the pulse in force from now on, us.
func (s *servo) heed(micros float64) {
	if micros == s.pulse {
		return
	}
	s.pulse = micros
	if s.repeat > 0 {
		s.astray = s.repeat * s.chance.NormFloat64()
	}
}

// servoParts is into how many parts the servo cuts a step, since where it comes
// to rest in its dead zone hangs on how far it coasts.
const servoParts = 4

// step moves the servo by h seconds.
func (s *servo) step(h float64) {
	if s.still() {
		if s.pulse > 0 && !s.dead && s.driftRate > 0 {
			s.warmth += (1 - s.warmth) * h * s.driftRate
		}
		return
	}
	for range servoParts {
		s.part(h / servoParts)
	}
}

// still reports whether the servo rests and nothing asks it to move.
func (s *servo) still() bool {
	return s.speed == 0 && (s.pulse == 0 || s.dead || s.held == 0 && s.asked() == 0)
}

// part moves the servo: a speed loop with a slew limit and a lag around a
// position loop with a dead zone.
func (s *servo) part(h float64) {
	asked := 0.0
	if s.pulse > 0 && !s.dead {
		if s.driftRate > 0 {
			s.warmth += (1 - s.warmth) * h * s.driftRate
		}
		asked = s.ask(h)
	}
	s.speed = (s.speed + h/s.lag*asked) / (1 + h/s.lag)
	if asked == 0 && math.Abs(s.speed) < servoLeastSpeed {
		s.speed = 0
	}
	s.turn(s.angle + h*s.speed)
}

// asked is the speed that the servo's own controller wants, rad/s.
func (s *servo) asked() float64 {
	left := s.target() - s.angle
	switch {
	case left > s.halfZone:
		left -= s.halfZone
	case left < -s.halfZone:
		left += s.halfZone
	default:
		return 0
	}
	if s.speed == 0 && math.Abs(left) < s.stick {
		return 0
	}
	asked := min(max(s.gain*left, -s.slew), s.slew)
	if math.Abs(asked) < servoLeastSpeed || s.atStop && (asked > 0) == (s.angle == s.high) {
		return 0
	}
	return asked
}

// ask is the speed asked now. A servo with a smallest move decides once in a
// frame of its own and keeps to that for the frame.
func (s *servo) ask(h float64) float64 {
	if s.smallest == 0 {
		return s.asked()
	}
	if s.frame -= h; s.frame <= 0 {
		s.frame = servoFrame
		s.held = s.asked()
		if s.held != 0 {
			s.held = math.Copysign(min(max(math.Abs(s.held), s.smallest), s.slew), s.held)
		}
	}
	return s.held
}

func (s *servo) target() float64 {
	pulse := s.pulse
	if s.least > 0 {
		pulse = max(pulse, s.least)
	}
	if s.most > 0 {
		pulse = min(pulse, s.most)
	}
	return (pulse + s.astray - s.centre - s.drift*s.warmth) * s.radPerMicro
}

// turn puts the shaft at an angle, held by the stops, and drags the ball's
// carriage along behind the play.
func (s *servo) turn(angle float64) {
	s.atStop = false
	if angle <= s.low {
		angle, s.speed, s.atStop = s.low, 0, true
	} else if angle >= s.high {
		angle, s.speed, s.atStop = s.high, 0, true
	}
	s.angle = angle
	s.linked = s.linkage(angle)
	tilt := min(max(s.tilt, s.linked-s.halfPlay), s.linked+s.halfPlay)
	if tilt != s.tilt {
		s.tilt, s.moved = tilt, true
	}
}
