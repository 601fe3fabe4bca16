package logbook

import (
	"encoding/binary"
	"hash/crc32"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// mostTenths is the longest pulse that units.Pulse takes, in tenths of a microsecond.
const mostTenths = 0x7fff

// decoder turns records back into samples.
type decoder struct {
	layout
	start uint32 // of every checksum
}

func newDecoder(l layout) decoder { return decoder{l, l.start()} }

// whole returns the length of the valid record at the start of b, or 0. before is the 4 checksum bytes of the record
// before it, which a difference record needs. It does not look inside.
func (d *decoder) whole(b []byte, before []byte) int {
	if len(b) == 0 {
		return 0
	}
	length, sum := d.fullLength(), d.start
	if b[0] != fullMarker[0] {
		if b[0] == 0 || len(before) != checksumLength {
			return 0
		}
		length = 1 + int(b[0]) + checksumLength
		sum = crc32.Update(sum, castagnoli, before)
	} else if len(b) < length || string(b[:len(fullMarker)]) != fullMarker {
		return 0
	}
	if len(b) < length {
		return 0
	}
	end := length - checksumLength
	if crc32.Update(sum, castagnoli, b[:end]) != binary.LittleEndian.Uint32(b[end:length]) {
		return 0
	}
	return length
}

// isFull reports whether a whole record is a full one.
func isFull(record []byte) bool { return record[0] == fullMarker[0] }

// full reads a whole full record.
func (d *decoder) full(record []byte) (p place, ok bool) {
	le, b, s := binary.LittleEndian, record[len(fullMarker):], &p.sample
	p.position = le.Uint64(b)
	p.connection = le.Uint32(b[8:])
	s.Sequence = le.Uint64(b[12:])
	s.At = units.Instant(le.Uint64(b[20:]))
	setStatus(s, b[28:31])
	closed := b[31]
	b = b[32:]
	for i := range d.counters {
		s.Counters[i] = bench.Counter{Count: units.Counts(le.Uint64(b)), LastEdge: units.Instant(le.Uint64(b[8:]))}
		b = b[fullCounter:]
	}
	for i := range d.axes {
		tenths := le.Uint16(b)
		if tenths > mostTenths {
			return place{}, false
		}
		s.Axes[i] = bench.Axis{Pulse: units.PulseFromTenths(tenths), Since: units.Instant(le.Uint64(b[2:]))}
		b = b[fullAxis:]
	}
	return p, d.setClosed(s, closed)
}

// difference moves p on by a whole difference record. When it says false, p is spoilt.
func (d *decoder) difference(p *place, record []byte) bool {
	b := body{rest: record[1 : len(record)-checksumLength], ok: true}
	s := &p.sample
	has := b.byte()
	p.step += b.signed()
	s.At += units.Instant(p.step)
	if has&hasSequence != 0 {
		s.Sequence += uint64(b.signed())
	} else {
		s.Sequence++
	}
	if has&hasStatus != 0 {
		setStatus(s, b.take(3))
	}
	if has&hasClosed != 0 && !d.setClosed(s, b.byte()) {
		return false
	}
	if !d.counterDifferences(p, &b) {
		return false
	}
	if has&hasAxes != 0 && !d.axisDifferences(s, &b) {
		return false
	}
	p.position++
	return b.ok && len(b.rest) == 0 && has&^(hasSequence|hasStatus|hasClosed|hasAxes) == 0
}

func (d *decoder) counterDifferences(p *place, b *body) bool {
	hows := b.take(howBytes(d.counters))
	for i := range d.counters {
		how := hows[i/4] >> (i % 4 * 2) & 3
		if how == howSame {
			p.countStep[i] = 0
			continue
		}
		c := &p.sample.Counters[i]
		p.countStep[i] += b.signed()
		c.Count += units.Counts(p.countStep[i])
		switch how {
		case howEdge:
			c.LastEdge = p.sample.At - units.Instant(b.unsigned())
		case howNoEdge:
			c.LastEdge = 0
		case howSignedEdge:
			c.LastEdge = p.sample.At - units.Instant(b.signed())
		}
	}
	spare := d.counters % 4 * 2
	return spare == 0 || hows[len(hows)-1]>>spare == 0
}

func (d *decoder) axisDifferences(s *bench.Sample, b *body) bool {
	which := b.byte()
	if which>>d.axes != 0 {
		return false
	}
	for i := range d.axes {
		if which>>i&1 == 0 {
			continue
		}
		a := &s.Axes[i]
		step := b.signed()
		if step < -mostTenths || step > mostTenths {
			return false
		}
		tenths := int64(a.Pulse.Tenths()) + step
		if tenths < 0 || tenths > mostTenths {
			return false
		}
		a.Pulse = units.PulseFromTenths(uint16(tenths))
		a.Since = s.At - units.Instant(b.signed())
	}
	return true
}

func setStatus(s *bench.Sample, b []byte) {
	s.State, s.Cause, s.Flags = bench.State(b[0]), bench.Cause(b[1]), bench.Flags(b[2])
}

func (d *decoder) setClosed(s *bench.Sample, bits byte) bool {
	for i := range d.axes {
		s.Axes[i].Closed = bits>>i&1 == 1
	}
	return bits>>d.axes == 0
}

// body takes a record's body apart. After its first shortfall it gives noughts and ok is false.
type body struct {
	rest []byte
	ok   bool
}

var noughts [8]byte

// take returns the next n bytes, n at most 8.
func (b *body) take(n int) []byte {
	if len(b.rest) < n {
		b.ok, b.rest = false, nil
		return noughts[:n]
	}
	taken := b.rest[:n]
	b.rest = b.rest[n:]
	return taken
}

func (b *body) byte() byte { return b.take(1)[0] }

func (b *body) signed() int64 {
	v, n := binary.Varint(b.rest)
	return advance(b, v, n)
}

func (b *body) unsigned() uint64 {
	v, n := binary.Uvarint(b.rest)
	return advance(b, v, n)
}

func advance[T int64 | uint64](b *body, v T, n int) T {
	if n <= 0 {
		b.ok, b.rest = false, nil
		return 0
	}
	b.rest = b.rest[n:]
	return v
}
