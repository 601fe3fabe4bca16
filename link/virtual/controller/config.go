package controller

import (
	"errors"
	"fmt"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// Hardware is what a controller drives and reads. Times are microseconds on one
// clock that never runs backwards.
type Hardware interface {
	// Now is the time.
	Now() int64

	// SetPulse gives the servo of an axis a pulse from now on; 0 is none.
	SetPulse(axis int, micros float64)

	// SetDrive switches the motor: 0 off, 1 forward, -1 reverse.
	SetDrive(direction int)

	// Counter is a sensor's reading and the time of the edge that made it; 0 if
	// there was none. An absolute sensor reads 0 up to its counts per turn.
	Counter(i int) (count, lastEdge int64)

	// StopInputOpen reports whether the stop switch is open.
	StopInputOpen() bool

	// Select begins to engage an output, on a rig with a selector.
	Select(axis int)

	// Sent reports whether the last bit of what Next gave has left.
	Sent() bool

	// SetLineRate changes the rate of the line.
	SetLineRate(baud int)
}

// Config says what a controller has and can do.
type Config struct {
	// Identity is what hello is answered with; token, boot number, version and
	// number of counters are filled in.
	Identity wire.Identity

	// Counters are the sensor inputs. Counter is filled in.
	Counters []wire.CounterDescription

	// ClockStart is what the controller's clock shows at a start, us.
	ClockStart uint32

	// LeastPeriodMillis is the shortest control period; 0 is 1.
	LeastPeriodMillis uint16

	// Queue is how many stream messages there is room for; 0 is 8.
	Queue int

	// SelectMicros is how long the selector takes to change over.
	SelectMicros int64
}

// ConfigError says what is wrong with a Config.
type ConfigError struct {
	Field string
	Err   error
}

func (e *ConfigError) Error() string {
	return fmt.Sprintf("controller: %s: %v; correct the configuration", e.Field, e.Err)
}

func (e *ConfigError) Unwrap() error { return e.Err }

// What can be wrong with a field of a Config.
var (
	ErrOutOfRange = errors.New("out of range")
	ErrNoTurn     = errors.New("an absolute sensor needs its counts per turn")
)

// leastQueue is how many stream messages every controller has room for.
const leastQueue = 8

// withDefaults fills in what may be left out, and checks the rest. Its error is
// a *ConfigError.
func (c Config) withDefaults() (Config, error) {
	c.Counters = append([]wire.CounterDescription(nil), c.Counters...)
	for i := range c.Counters {
		c.Counters[i].Counter = uint8(i)
		if c.Counters[i].Kind == bench.Absolute && c.Counters[i].CountsPerTurn == 0 {
			return c, &ConfigError{Field: fmt.Sprintf("counter %d", i), Err: ErrNoTurn}
		}
	}
	if c.Queue == 0 {
		c.Queue = leastQueue
	}
	if c.Queue < leastQueue {
		return c, &ConfigError{Field: "queue", Err: ErrOutOfRange}
	}
	c.LeastPeriodMillis = max(c.LeastPeriodMillis, 1)
	id := &c.Identity
	id.Major, id.Minor, id.Token, id.Boot = wire.Major, wire.Minor, 0, 0
	id.Counters = uint8(len(c.Counters))
	if _, err := wire.Encode(nil, wire.Frame{Message: *id}); err != nil || len(c.Counters) > bench.MaxCounters {
		return c, &ConfigError{Field: "identity", Err: errors.Join(ErrOutOfRange, err)}
	}
	return c, nil
}
