package logbook

import (
	"encoding/binary"
	"hash/crc32"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Part of the format, never change.
const (
	fullMarker  = "\xffSMP"
	longestBody = 254

	hasSequence = 1 << 0
	hasStatus   = 1 << 1
	hasClosed   = 1 << 2
	hasAxes     = 1 << 3

	howSame       = 0 // count and last edge as before
	howEdge       = 1 // count, and at less last edge, unsigned
	howNoEdge     = 2 // count; the last edge is not known
	howSignedEdge = 3 // count, and at less last edge, signed

	fullFixed   = 4 + 8 + 4 + 8 + 8 + 3 + 1 // bytes of a full record before its counters
	fullCounter = 8 + 8
	fullAxis    = 2 + 8
)

const (
	// fullEvery is after how much controller time a full record is due, so that damage costs at most that much.
	fullEvery = time.Second
	// fullEveryRecords bounds the same where the controller's clock stands still.
	fullEveryRecords = 1000
)

// fullLength is the length of a full record, checksum included.
func (l layout) fullLength() int {
	return fullFixed + l.counters*fullCounter + l.axes*fullAxis + checksumLength
}

// longestRecord is the most bytes that one record can take.
func (l layout) longestRecord() int {
	return max(l.fullLength(), 1+longestBody+checksumLength)
}

// place is a sample with its place in the record, and what the next difference is taken from.
type place struct {
	position   uint64 // how many samples come before it
	connection uint32
	sample     bench.Sample
	step       int64 // of at
	countStep  [bench.MaxCounters]int64
}

// encoder turns samples into records.
type encoder struct {
	layout
	start      uint32 // of every checksum
	recorded   uint64 // samples so far
	connection uint32
	last       place // recorded last
	chain      [checksumLength]byte
	needFull   bool
	fullAt     units.Instant // time of the last full record
	sinceFull  int
}

// check refuses samples that would not come back exactly.
func (n *encoder) check(s *bench.Sample) error {
	for _, c := range s.Counters[n.counters:] {
		if c != (bench.Counter{}) {
			return &SampleError{Sequence: s.Sequence, What: "it has more counters than the record"}
		}
	}
	for i, a := range s.Axes {
		if i >= n.axes && a != (bench.Axis{}) {
			return &SampleError{Sequence: s.Sequence, What: "it has more axes than the record"}
		}
		if a.Pulse != a.Pulse.Rounded() {
			return &SampleError{Sequence: s.Sequence, What: "a pulse is not whole tenths of a microsecond"}
		}
	}
	return nil
}

// encode appends the record of s to dst and moves on to it.
func (n *encoder) encode(dst []byte, s *bench.Sample) []byte {
	if n.goesBack(s) {
		n.beginConnection()
	}
	next := place{position: n.recorded, connection: n.connection, sample: *s}
	from := len(dst)
	full := n.needFull || s.At.Sub(n.fullAt) >= fullEvery || n.sinceFull >= fullEveryRecords
	sum := n.start
	if !full {
		dst = append(dst, 0)
		dst = n.appendBody(dst, &next)
		if length := len(dst) - from - 1; length <= longestBody {
			dst[from] = byte(length)
			sum = crc32.Update(sum, castagnoli, n.chain[:])
		} else {
			dst, full = dst[:from], true
		}
	}
	if full {
		next.step, next.countStep = 0, [bench.MaxCounters]int64{}
		dst = n.appendFull(dst, &next)
		n.needFull, n.fullAt, n.sinceFull = false, s.At, 0
	}
	n.sinceFull++
	sum = crc32.Update(sum, castagnoli, dst[from:])
	binary.LittleEndian.PutUint32(n.chain[:], sum)
	n.last = next
	n.recorded++
	return append(dst, n.chain[:]...)
}

// goesBack reports whether s cannot be of the connection of the last sample.
func (n *encoder) goesBack(s *bench.Sample) bool {
	return !n.needFull && (s.Sequence <= n.last.sample.Sequence || s.At < n.last.sample.At)
}

// beginConnection makes the next sample the first of a connection.
func (n *encoder) beginConnection() {
	if !n.needFull {
		n.connection++
		n.needFull = true
	}
}

// appendFull appends a full record without its checksum.
func (n *encoder) appendFull(dst []byte, p *place) []byte {
	le, s := binary.LittleEndian, &p.sample
	dst = append(dst, fullMarker...)
	dst = le.AppendUint64(dst, p.position)
	dst = le.AppendUint32(dst, p.connection)
	dst = le.AppendUint64(dst, s.Sequence)
	dst = le.AppendUint64(dst, uint64(s.At))
	dst = append(dst, byte(s.State), byte(s.Cause), byte(s.Flags), closedBits(s))
	for _, c := range s.Counters[:n.counters] {
		dst = le.AppendUint64(dst, uint64(c.Count))
		dst = le.AppendUint64(dst, uint64(c.LastEdge))
	}
	for _, a := range s.Axes[:n.axes] {
		dst = le.AppendUint16(dst, a.Pulse.Tenths())
		dst = le.AppendUint64(dst, uint64(a.Since))
	}
	return dst
}

// appendBody appends the body of a difference record and sets the steps of p.
func (n *encoder) appendBody(dst []byte, p *place) []byte {
	was, now := &n.last.sample, &p.sample
	hasAt := len(dst)
	has := byte(0)
	dst = append(dst, 0)
	p.step = int64(now.At - was.At)
	dst = binary.AppendVarint(dst, p.step-n.last.step)
	if now.Sequence != was.Sequence+1 {
		has |= hasSequence
		dst = binary.AppendVarint(dst, int64(now.Sequence-was.Sequence))
	}
	if now.State != was.State || now.Cause != was.Cause || now.Flags != was.Flags {
		has |= hasStatus
		dst = append(dst, byte(now.State), byte(now.Cause), byte(now.Flags))
	}
	if bits := closedBits(now); bits != closedBits(was) {
		has |= hasClosed
		dst = append(dst, bits)
	}
	dst = n.appendCounters(dst, p)
	if which := changedAxes(was, now); which != 0 {
		has |= hasAxes
		dst = append(dst, which)
		dst = appendAxes(dst, which, was, now)
	}
	dst[hasAt] = has
	return dst
}

func (n *encoder) appendCounters(dst []byte, p *place) []byte {
	howAt := len(dst)
	dst = append(dst, make([]byte, howBytes(n.counters))...)
	for i := range n.counters {
		was, now := n.last.sample.Counters[i], p.sample.Counters[i]
		how := howCounter(was, now, p.sample.At)
		dst[howAt+i/4] |= byte(how << (i % 4 * 2))
		if how == howSame {
			continue
		}
		p.countStep[i] = int64(now.Count - was.Count)
		dst = binary.AppendVarint(dst, p.countStep[i]-n.last.countStep[i])
		switch age := int64(p.sample.At - now.LastEdge); how {
		case howEdge:
			dst = binary.AppendUvarint(dst, uint64(age))
		case howSignedEdge:
			dst = binary.AppendVarint(dst, age)
		}
	}
	return dst
}

// howCounter chooses how a counter is recorded.
func howCounter(was, now bench.Counter, at units.Instant) int {
	switch {
	case now == was:
		return howSame
	case now.LastEdge == 0:
		return howNoEdge
	case now.LastEdge > 0 && now.LastEdge <= at:
		return howEdge
	}
	return howSignedEdge
}

// howBytes is how many bytes the two bits a counter take.
func howBytes(counters int) int { return (counters + 3) / 4 }

func appendAxes(dst []byte, which byte, was, now *bench.Sample) []byte {
	for i := range now.Axes {
		if which>>i&1 == 1 {
			dst = binary.AppendVarint(dst, int64(now.Axes[i].Pulse.Tenths())-int64(was.Axes[i].Pulse.Tenths()))
			dst = binary.AppendVarint(dst, int64(now.At-now.Axes[i].Since))
		}
	}
	return dst
}

// changedAxes has bit n set where pulse or since of axis n differ.
func changedAxes(was, now *bench.Sample) (which byte) {
	for i := range now.Axes {
		if now.Axes[i].Pulse != was.Axes[i].Pulse || now.Axes[i].Since != was.Axes[i].Since {
			which |= 1 << i
		}
	}
	return which
}

func closedBits(s *bench.Sample) (bits byte) {
	for i, a := range s.Axes {
		if a.Closed {
			bits |= 1 << i
		}
	}
	return bits
}
