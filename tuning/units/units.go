// Package units holds the quantities that pass between packages, each with its
// unit in its type, and the pair of a number and its standard error.
//
// Inside an algorithm plain float64 in SI is used; these types stand at the
// borders. Values are plain numbers and may be shared and copied freely.
package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Pulse is a servo pulse width in microseconds. On the wire and in records it
// is a whole number of tenths of a microsecond.
type Pulse float64

// Tenths returns p as whole tenths of a microsecond, rounded to nearest, and
// held within what 15 bits take (0 to 3276.7 us).
func (p Pulse) Tenths() uint16 {
	t := math.Round(float64(p) * 10)
	switch {
	case !(t > 0): // also NaN
		return 0
	case t > 0x7fff:
		return 0x7fff
	}
	return uint16(t)
}

// PulseFromTenths is the pulse of t tenths of a microsecond.
func PulseFromTenths(t uint16) Pulse { return Pulse(float64(t) / 10) }

// Rounded returns p on the tenth of a microsecond that the wire can carry.
func (p Pulse) Rounded() Pulse { return PulseFromTenths(p.Tenths()) }

func (p Pulse) String() string { return strconv.FormatFloat(float64(p), 'f', 1, 64) + " us" }

// ParsePulse reads a pulse such as "1528.4 us" or "1.5 ms". A bare number is
// refused, since a pulse without a unit is how a servo meets its stop.
func ParsePulse(text string) (Pulse, error) {
	value, unit, found := strings.Cut(strings.TrimSpace(text), " ")
	scale := map[string]float64{"us": 1, "ms": 1000}[strings.TrimSpace(unit)]
	v, err := strconv.ParseFloat(value, 64)
	if !found || scale == 0 || err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("pulse %q: write a number, a space and the unit us or ms, such as 1528.4 us", text)
	}
	return Pulse(v * scale), nil
}

// Ratio is output turns per drive-shaft turn, signed: positive where the output
// turns forward.
type Ratio float64

// RPM is a speed in turns per minute.
type RPM float64

// PerSecond returns the speed in turns per second.
func (r RPM) PerSecond() float64 { return float64(r) / 60 }

func (r RPM) String() string { return strconv.FormatFloat(float64(r), 'f', 0, 64) + " rpm" }

// Turns is an angle in whole turns.
type Turns float64

// Counts is a number of sensor counts, unwrapped.
type Counts int64

// Instant is a moment on the controller's clock in microseconds, unwrapped, so
// that it never runs backwards within one connection.
type Instant int64

// Sub returns the time from j to i.
func (i Instant) Sub(j Instant) time.Duration { return time.Duration(i-j) * time.Microsecond }

// Add returns the instant d after i, to the microsecond.
func (i Instant) Add(d time.Duration) Instant { return i + Instant(d/time.Microsecond) }

// Seconds returns the instant in seconds of the controller's clock.
func (i Instant) Seconds() float64 { return float64(i) / 1e6 }
