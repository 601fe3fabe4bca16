package wire

// Age is how long ago something was, counted back from a sample's time. With
// bit 15 clear it is in microseconds; with bit 15 set its low 15 bits are in
// units of 256 us.
type Age uint16

// AgeUnknown is the age of what is too long ago, or never was.
const AgeUnknown Age = 0xffff

const (
	ageCoarse     = 0x8000
	ageUnitMicros = 256
)

// MostAgeMicros is the greatest age that can be told.
const MostAgeMicros = 0x7ffe*ageUnitMicros + ageUnitMicros/2 - 1

// AgeFrom returns the age of that many microseconds: exact below 32768, above
// that to the nearest 256, halves upward; AgeUnknown for what is negative or
// older than MostAgeMicros.
func AgeFrom(micros int64) Age {
	switch {
	case micros < 0 || micros > MostAgeMicros:
		return AgeUnknown
	case micros < ageCoarse:
		return Age(micros)
	}
	return ageCoarse | Age((micros+ageUnitMicros/2)/ageUnitMicros)
}

// Micros returns the age in microseconds, and false if it is unknown.
func (a Age) Micros() (micros int64, known bool) {
	switch {
	case a == AgeUnknown:
		return 0, false
	case a&ageCoarse != 0:
		return int64(a&^ageCoarse) * ageUnitMicros, true
	}
	return int64(a), true
}
