package wire

import "encoding/binary"

// little is the byte order of every integer on the wire.
var little = binary.LittleEndian

// reader takes integers off a payload. Reading past its end gives noughts and
// leaves short set, so that a parser checks once, at its end.
type reader struct {
	rest  []byte
	short bool
	shape Shape
}

// more reports whether bytes are left; it ends lists that run to the end.
func (r *reader) more() bool { return len(r.rest) > 0 && !r.short }

func (r *reader) take(n int) []byte {
	if n > len(r.rest) {
		r.short, r.rest = true, nil
		return nil
	}
	p := r.rest[:n]
	r.rest = r.rest[n:]
	return p
}

func (r *reader) u8() uint8 {
	if p := r.take(1); p != nil {
		return p[0]
	}
	return 0
}

func (r *reader) u16() uint16 {
	if p := r.take(2); p != nil {
		return little.Uint16(p)
	}
	return 0
}

func (r *reader) u32() uint32 {
	if p := r.take(4); p != nil {
		return little.Uint32(p)
	}
	return 0
}

func (r *reader) i8() int8   { return int8(r.u8()) }
func (r *reader) i16() int16 { return int16(r.u16()) }
func (r *reader) i32() int32 { return int32(r.u32()) }

// distinct reports whether no two of n indexes are the same.
func distinct(n int, index func(int) uint8) bool {
	var seen [256]bool
	for i := range n {
		k := index(i)
		if seen[k] {
			return false
		}
		seen[k] = true
	}
	return true
}

// pulseFits reports whether tenths is a pulse that 15 bits hold.
func pulseFits(tenths uint16) bool { return tenths <= 0x7fff }
