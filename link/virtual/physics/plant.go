package physics

// Plant is a machine in motion.
type Plant struct {
	machine Machine
	now     int64
}

// New builds the plant at rest, drive off, no pulses. Everything random in it
// follows from seed.
func New(m Machine, seed uint64) (*Plant, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	return &Plant{machine: m}, nil
}

// Advance integrates by so many microseconds.
func (p *Plant) Advance(micros int64) { p.now += micros }

// Now is the plant's time in microseconds.
func (p *Plant) Now() int64 { return p.now }

// SetPulse gives the servo of an axis a pulse from now on; 0 is no pulse: the
// servo is not driven and stays where it is.
func (p *Plant) SetPulse(axis int, micros float64) {}

// SetDrive switches the motor: 0 off, 1 forward, -1 reverse.
func (p *Plant) SetDrive(direction int) {}

// Counter returns the count of a sensor and the time in microseconds of its
// last edge, 0 where there was none yet.
func (p *Plant) Counter(i int) (count int64, lastEdgeMicros int64) { return 0, 0 }
