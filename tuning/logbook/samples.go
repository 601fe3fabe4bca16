package logbook

import (
	"sort"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Samples are the samples of a record. They are read from the file when asked for; several goroutines may ask.
type Samples struct {
	path string
	decoder
	source      Source
	index       []entry // every full record
	connections []Connection
	count       uint64
	reach       uint64 // position behind the last sample
	tail        Tail
	damage      []Damage
	missing     uint64 // synced once, and not there at the end
	err         error  // why there are none at all
}

// Connection is a stretch of samples within which sequence and instants run on.
type Connection struct {
	Number  int // from 1
	Samples uint64
	First   bench.Sample
	Last    bench.Sample
}

// entry is where a full record lies and what it holds.
type entry struct {
	offset     int64
	position   uint64
	connection uint32
	sequence   uint64
	at         units.Instant
}

// Count is how many samples can be read.
func (s *Samples) Count() uint64 { return s.count }

// Reach is the position behind the last sample: Count and those lost in damage.
func (s *Samples) Reach() uint64 { return s.reach }

// Connections lists the connections that have samples, in the order of the record.
func (s *Samples) Connections() []Connection { return s.connections }

func (s *Samples) close() error {
	if s.source == nil {
		return nil
	}
	return fileError("close", s.path, s.source.Close())
}

// survey goes through the file once and notes what is where.
func (s *Samples) survey() error {
	w := s.walker(entry{offset: samplesHeader})
	for {
		at, err := w.next()
		s.reach = w.seen
		if err != nil {
			return err
		}
		switch at.kind {
		case stepEnd:
			if s.tail.Bytes == 0 {
				s.tail.Offset = at.offset
			}
			return nil
		case stepTail:
			s.tail = Tail{Offset: at.offset, Bytes: at.length}
		case stepDamage:
			s.damage = append(s.damage, Damage{samplesName, at.offset, at.length, at.lost, at.unread})
		case stepSample:
			s.note(&w.at, at)
		}
	}
}

// note takes a sample into the index.
func (s *Samples) note(p *place, at step) {
	s.count++
	if at.full {
		s.index = append(s.index, entry{at.offset, p.position, p.connection, p.sample.Sequence, p.sample.At})
	}
	if n := len(s.connections); n == 0 || s.connections[n-1].Number != int(p.connection) {
		s.connections = append(s.connections, Connection{Number: int(p.connection), First: p.sample})
	}
	c := &s.connections[len(s.connections)-1]
	c.Samples++
	c.Last = p.sample
}

// walker returns one that starts at a full record.
func (s *Samples) walker(from entry) *walker {
	return &walker{
		decoder: s.decoder,
		window:  window{source: s.source, size: s.source.Size()},
		off:     from.offset,
		seen:    from.position,
	}
}

// before returns the last full record for which not is false, not being false up to some place and true from there.
func (s *Samples) before(not func(entry) bool) entry {
	i := sort.Search(len(s.index), func(i int) bool { return not(s.index[i]) })
	if i == 0 {
		return entry{offset: samplesHeader}
	}
	return s.index[i-1]
}
