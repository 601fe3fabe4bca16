package logbook

import (
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// The traces below end where the record ends. Where samples of the span asked for may be lost they return the others
// and a *GapError. Where samples.bin cannot be read they return what they have and the error of Recovery.SamplesErr or
// a *FileError.

// ByPosition returns the samples from position from up to, not including, position to. Event.Samples is such a
// position: ByPosition(a.Samples, b.Samples) is what was recorded between two events.
func (s *Samples) ByPosition(from, to uint64) (bench.Trace, error) {
	if from >= to {
		return nil, nil
	}
	start := s.before(func(e entry) bool { return e.position > from })
	return s.trace(start, func(p *place) spot {
		return spot{sideOf(p.position < from, p.position >= to), p.position+1 == to}
	})
}

// BySequence returns the samples of a connection whose sequence numbers lie from first to last, both included.
func (s *Samples) BySequence(connection int, first, last uint64) (bench.Trace, error) {
	if first > last {
		return nil, nil
	}
	start := s.before(func(e entry) bool {
		return int(e.connection) > connection || int(e.connection) == connection && e.sequence > first
	})
	return s.trace(start, func(p *place) spot {
		n := p.sample.Sequence
		here := within(p, connection, n < first, n > last)
		return spot{here, here == inside && n == last}
	})
}

// ByInstant returns the samples of a connection latched from one instant to another, both included.
func (s *Samples) ByInstant(connection int, from, to units.Instant) (bench.Trace, error) {
	if from > to {
		return nil, nil
	}
	start := s.before(func(e entry) bool {
		return int(e.connection) > connection || int(e.connection) == connection && e.at > from
	})
	return s.trace(start, func(p *place) spot {
		at := p.sample.At
		return spot{side: within(p, connection, at < from, at > to)}
	})
}

// spot says where a sample lies in the span asked for, and whether it is its last, so that damage behind it is none of
// the span's business.
type spot struct {
	side
	last bool
}

type side int

const (
	earlier side = iota - 1
	inside
	later
)

func sideOf(isEarlier, isLater bool) side {
	switch {
	case isEarlier:
		return earlier
	case isLater:
		return later
	}
	return inside
}

// within is sideOf in one connection; others lie before or after it.
func within(p *place, connection int, isEarlier, isLater bool) side {
	c := int(p.connection)
	return sideOf(c < connection || c == connection && isEarlier, c > connection || c == connection && isLater)
}

// trace gathers the samples inside, from a full record on, up to the first one that lies later.
func (s *Samples) trace(start entry, where func(*place) spot) (bench.Trace, error) {
	if s.source == nil {
		return nil, s.err
	}
	var trace bench.Trace
	var gap *GapError     // within the span
	var pending *GapError // met, but not known yet whether the span goes on behind it
	w := s.walker(start)
	for {
		at, err := w.next()
		if err != nil {
			return trace, fileError("read", s.path, err)
		}
		switch at.kind {
		case stepEnd:
			if s.missing > 0 {
				pending = merge(pending, &GapError{Path: s.path, Offset: at.offset, Lost: s.missing})
			}
			return trace, gapOf(gap, pending)
		case stepDamage, stepTail:
			if toEnd := at.offset+at.length == w.window.size; toEnd || at.lost > 0 {
				pending = merge(pending, &GapError{Path: s.path, Offset: at.offset, Lost: at.lost})
			}
			continue
		}
		here := where(&w.at)
		if here.side == earlier {
			pending = nil // what was lost before was earlier still
		}
		gap, pending = merge(gap, pending), nil
		if here.side == later {
			return trace, gapOf(gap, nil)
		}
		if here.side == inside {
			trace = append(trace, w.at.sample)
		}
		if here.last {
			return trace, gapOf(gap, nil)
		}
	}
}

// merge makes one gap of two. How many are lost is known only where it is of both.
func merge(a, b *GapError) *GapError {
	switch {
	case a == nil:
		return b
	case b == nil:
		return a
	}
	lost := a.Lost + b.Lost
	if a.Lost == 0 || b.Lost == 0 {
		lost = 0
	}
	return &GapError{Path: a.Path, Offset: a.Offset, Lost: lost}
}

func gapOf(a, b *GapError) error {
	if gap := merge(a, b); gap != nil {
		return gap
	}
	return nil
}
