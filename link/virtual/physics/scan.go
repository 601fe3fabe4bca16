package physics

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sync"
)

// ScanOptions say how Scan goes about it. The zero value of each field but Axis
// and Warmth means its default.
type ScanOptions struct {
	Axis          int
	Pulses        []float64 // us; by default every 12.5 from 1000 to 2000
	SettleSeconds float64   // after each change of pulse, 0.7
	ShaftTurns    int       // whole turns a reading on the curve takes, 16
	EdgeTurns     int       // whole turns a try at an edge takes, 8
	EdgeMicros    float64   // resolution of an edge, 0.1
	EdgeTries     int       // searches for each edge, begun at different shaft angles, 3
	LeastRatio    float64   // mean ratio that counts as turning, 0.002
	Warmth        float64   // of the servo, held fast: 0 cold to 1 warm
	Seed          uint64
}

// Truth is what a scan found.
type Truth struct {
	Axis   int
	Holds  bool    // the output rests at Middle with the drive on; without it there are no edges
	Middle float64 // pulse that puts the output wheel on the ball's pole, us
	Short  Edge    // below Middle
	Long   Edge    // above Middle
	Points []Point
}

// Edge is one end of the dead band, per direction of approach, servo settled.
// The scatter is the standard deviation over the searches.
type Edge struct {
	BreakawayMicros  float64 // nearest pulse that starts the output from rest, approached from inside
	DropoutMicros    float64 // nearest pulse that keeps it turning, approached from outside
	BreakawayScatter float64
	DropoutScatter   float64
}

// Point is the ratio at a pulse: mean output turns per shaft turn over whole
// shaft turns, the servo settled.
type Point struct {
	PulseMicros float64
	Outward     float64 // approached from rest at Middle
	Inward      float64 // approached from turning farther out
}

// ScanError is a scan that found nothing.
type ScanError struct {
	Axis  int
	Pulse float64 // us
	Err   error
}

func (e *ScanError) Error() string {
	return fmt.Sprintf("scan of axis %d at %.1f us: %v", e.Axis, e.Pulse, e.Err)
}

func (e *ScanError) Unwrap() error { return e.Err }

func (o *ScanOptions) fill() {
	if o.Pulses == nil {
		for k := range 81 {
			o.Pulses = append(o.Pulses, 1000+12.5*float64(k))
		}
	}
	preset(&o.SettleSeconds, 0.7)
	preset(&o.ShaftTurns, 16)
	preset(&o.EdgeTurns, 8)
	preset(&o.EdgeMicros, 0.1)
	preset(&o.EdgeTries, 3)
	preset(&o.LeastRatio, 0.002)
}

func preset[T int | float64](v *T, value T) {
	if *v == 0 {
		*v = value
	}
}

// scans remembers what was scanned, by machine and options.
var scans struct {
	sync.Mutex
	known map[[32]byte]*scanned
}

type scanned struct {
	once  sync.Once
	truth Truth
	err   error
}

// Scan lets the machine itself tell what its dead band and its ratio curve are:
// it tries pulses one after the other, as a patient person would who has no end
// stops. The joints are made endless for it; weights stay. The servo's scatter is
// left out, so that an edge is the median of what one would find. Results are
// kept in memory by machine and options, and must not be changed. The error is
// a *ParameterError or a *ScanError.
func Scan(m Machine, o ScanOptions) (Truth, error) {
	if err := m.Validate(); err != nil {
		return Truth{}, err
	}
	if o.Axis < 0 || o.Axis >= len(m.Axes) {
		return Truth{}, &ScanError{o.Axis, 0, ErrNoSuchPart}
	}
	o.fill()
	text, err := json.Marshal(struct {
		Machine Machine
		Options ScanOptions
	}{m, o})
	if err != nil {
		return Truth{}, &ScanError{o.Axis, 0, err}
	}
	key := sha256.Sum256(text)
	scans.Lock()
	if scans.known == nil {
		scans.known = map[[32]byte]*scanned{}
	}
	s := scans.known[key]
	if s == nil {
		s = &scanned{}
		scans.known[key] = s
	}
	scans.Unlock()
	s.once.Do(func() { s.truth, s.err = (&scanner{options: o}).scan(m) })
	return s.truth, s.err
}

// scanner scans one axis of one machine.
type scanner struct {
	options ScanOptions
	middle  float64
	rest    map[float64]*Plant // by side: at rest in the middle, lost motion taken up towards that side
}

// probe is how far outside a pulse the turning starts that approaches it
// inward, us.
const probe = 60

func (s *scanner) scan(m Machine) (Truth, error) {
	o := &s.options
	start, err := s.start(m)
	if err != nil {
		return Truth{}, err
	}
	truth := Truth{Axis: o.Axis, Middle: s.middle}
	ratio, err := s.ratio(start.Clone(), o.EdgeTurns)
	if err != nil {
		return Truth{}, &ScanError{o.Axis, s.middle, err}
	}
	truth.Holds = math.Abs(ratio) < o.LeastRatio
	s.rest = map[float64]*Plant{-1: s.takeUp(start, -1), 1: s.takeUp(start, 1)}
	if truth.Holds {
		for side, edge := range map[float64]*Edge{-1: &truth.Short, 1: &truth.Long} {
			if *edge, err = s.edge(side); err != nil {
				return Truth{}, err
			}
		}
	}
	for _, pulse := range o.Pulses {
		point, err := s.point(pulse, truth)
		if err != nil {
			return Truth{}, err
		}
		truth.Points = append(truth.Points, point)
	}
	return truth, nil
}

// start returns the machine without sensors, end stops and scatter of the
// servos, running, its servos in the middle and held at the warmth asked.
func (s *scanner) start(m Machine) (*Plant, error) {
	m = m.clone()
	m.Counters = nil
	for j := range m.Joints {
		m.Joints[j].Endless = true
	}
	for i := range m.Axes {
		servo := &m.Axes[i].Servo
		servo.CentreMicros += servo.DriftMicros * s.options.Warmth
		servo.DriftMicros, servo.DriftSeconds = 0, 0
		servo.RepeatMicros = 0
	}
	p, err := New(m, s.options.Seed)
	if err != nil {
		return nil, err
	}
	for i := range p.axes {
		servo := &p.axes[i].servo
		middle := servo.centre + servo.shaftAt(0)/servo.radPerMicro
		p.SetPulse(i, middle)
		if i == s.options.Axis {
			s.middle = middle
		}
	}
	p.SetDrive(1)
	p.Advance(2e6) // the shaft comes to speed
	return p, nil
}

// takeUp returns the plant at rest in the middle after some turning to a side.
func (s *scanner) takeUp(start *Plant, side float64) *Plant {
	p := start.Clone()
	s.goTo(p, s.middle+side*2*probe)
	s.goTo(p, s.middle)
	return p
}

func (s *scanner) goTo(p *Plant, pulse float64) {
	p.SetPulse(s.options.Axis, pulse)
	p.Advance(int64(s.options.SettleSeconds * 1e6))
}

// ErrShaftStalls ends a scan.
var ErrShaftStalls = errors.New("the drive shaft stalls; give the motor more torque or the output less friction")

// ratio lets the plant run for whole turns of the shaft and returns the mean
// ratio. Within the last step all speeds are constant, so its end is cut off
// in proportion.
func (s *scanner) ratio(p *Plant, turns int) (float64, error) {
	shaft, output := p.ShaftTurns(), p.OutputTurns(s.options.Axis)
	end := shaft + float64(turns)
	for deadline := p.now + int64(turns)*5e6; p.now < deadline; {
		before, beforeOutput := p.ShaftTurns(), p.OutputTurns(s.options.Axis)
		p.Advance(p.step)
		if after := p.ShaftTurns(); after >= end {
			last := p.OutputTurns(s.options.Axis) - beforeOutput
			return (beforeOutput + last*(end-before)/(after-before) - output) / float64(turns), nil
		}
	}
	return 0, ErrShaftStalls
}

func (s *scanner) turns(p *Plant, pulse float64) (bool, error) {
	s.goTo(p, pulse)
	ratio, err := s.ratio(p, s.options.EdgeTurns)
	if err != nil {
		err = &ScanError{s.options.Axis, pulse, err}
	}
	return math.Abs(ratio) >= s.options.LeastRatio, err
}

// ErrNoEdge ends a scan.
var ErrNoEdge = errors.New("the output does not start turning within 400 us of the middle; lower its friction or press the contacts more")

// edge searches one end of the band, several times over.
func (s *scanner) edge(side float64) (Edge, error) {
	var breakaways, dropouts []float64
	for k := range s.options.EdgeTries {
		rest := s.rest[side].Clone()
		rest.Advance(int64(k) * 61000) // another part of the shaft's turn
		from := func(pulse float64) (bool, error) { return s.turns(rest.Clone(), pulse) }
		far := s.middle
		for turning := false; !turning; {
			if far += side * 10; math.Abs(far-s.middle) > 400 {
				return Edge{}, &ScanError{s.options.Axis, far, ErrNoEdge}
			}
			var err error
			if turning, err = from(far); err != nil {
				return Edge{}, err
			}
		}
		breakaway, err := s.bisect(s.middle, far, from)
		if err != nil {
			return Edge{}, err
		}
		running := rest.Clone()
		s.goTo(running, breakaway+side*probe)
		dropout, err := s.bisect(s.middle, breakaway+side*probe, func(pulse float64) (bool, error) {
			return s.turns(running.Clone(), pulse)
		})
		if err != nil {
			return Edge{}, err
		}
		breakaways, dropouts = append(breakaways, breakaway), append(dropouts, dropout)
	}
	var e Edge
	e.BreakawayMicros, e.BreakawayScatter = meanAndScatter(breakaways)
	e.DropoutMicros, e.DropoutScatter = meanAndScatter(dropouts)
	return e, nil
}

// bisect narrows the pulse at which turning begins, between one that rests and
// one that turns.
func (s *scanner) bisect(resting, turning float64, turns func(float64) (bool, error)) (float64, error) {
	for math.Abs(turning-resting) > s.options.EdgeMicros {
		pulse := (turning + resting) / 2
		now, err := turns(pulse)
		if err != nil {
			return 0, err
		}
		if now {
			turning = pulse
		} else {
			resting = pulse
		}
	}
	return (turning + resting) / 2, nil
}

// point reads the ratio at a pulse from both directions.
func (s *scanner) point(pulse float64, truth Truth) (Point, error) {
	side, edge := 1.0, truth.Long.BreakawayMicros
	if pulse < s.middle {
		side, edge = -1, truth.Short.BreakawayMicros
	}
	outer := pulse + side*probe
	if truth.Holds && (outer-edge)*side < probe/2 {
		outer = edge + side*probe/2
	}
	point := Point{PulseMicros: pulse}
	for _, way := range []struct {
		from float64
		to   *float64
	}{{s.middle, &point.Outward}, {outer, &point.Inward}} {
		p := s.rest[side].Clone()
		s.goTo(p, way.from)
		s.goTo(p, pulse)
		ratio, err := s.ratio(p, s.options.ShaftTurns)
		if err != nil {
			return Point{}, &ScanError{s.options.Axis, pulse, err}
		}
		*way.to = ratio
	}
	return point, nil
}

// meanAndScatter returns mean and standard deviation.
func meanAndScatter(v []float64) (mean, scatter float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	if len(v) < 2 {
		return mean, 0
	}
	for _, x := range v {
		scatter += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(scatter / float64(len(v)-1))
}
