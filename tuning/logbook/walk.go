package logbook

import (
	"io"
	"math"
)

// stepKind says what a walker came upon.
type stepKind int

const (
	stepSample stepKind = iota
	stepDamage          // unreadable bytes, or missing samples, with good records after
	stepTail            // unreadable bytes up to the end
	stepEnd
)

// step is one thing that a walker came upon.
type step struct {
	kind   stepKind
	offset int64
	length int64  // of the record or the unreadable bytes
	lost   uint64 // samples lost in damage; only where it is not the end of the file
	unread uint64 // good difference records in the damage, of no use without those before
	full   bool   // the sample has a full record
}

// walker goes through samples.bin from one full record to the end.
type walker struct {
	decoder
	window window
	off    int64
	at     place  // the sample of the last stepSample
	seen   uint64 // the position that the next sample should have
	linked bool   // the next difference record may be added to at
	owed   *step  // found while looking for something else
}

// next goes one step. Once it has returned stepTail or stepEnd it returns stepEnd.
func (w *walker) next() (step, error) {
	if w.owed != nil {
		owed := *w.owed
		w.owed = nil
		return owed, nil
	}
	if w.off >= w.window.size {
		return step{kind: stepEnd, offset: w.off}, nil
	}
	record, err := w.record(w.off)
	if err != nil {
		return step{}, err
	}
	if len(record) > 0 {
		if taken, ok := w.take(record); ok {
			return taken, nil
		}
	}
	return w.resync()
}

// record returns the whole record at off, or nothing.
func (w *walker) record(off int64) ([]byte, error) {
	back := int64(checksumLength)
	if off < samplesHeader+back {
		back = 0 // the first record has none before it
	}
	b, err := w.window.peek(off-back, w.longestRecord()+int(back))
	if err != nil || int64(len(b)) < back {
		return nil, err
	}
	return b[back : int(back)+w.whole(b[back:], b[:back])], nil
}

// take makes a sample of the record at off, if that can be.
func (w *walker) take(record []byte) (step, bool) {
	taken := step{kind: stepSample, offset: w.off, length: int64(len(record)), full: isFull(record)}
	if !taken.full {
		w.linked = w.linked && w.difference(&w.at, record)
		if w.linked {
			w.off += taken.length
			w.seen++
		}
		return taken, w.linked
	}
	p, ok := w.fullHere(record)
	if !ok {
		return step{}, false
	}
	lost := w.link(p, taken)
	if lost > 0 {
		w.owed = &taken
		return step{kind: stepDamage, offset: taken.offset, lost: lost}, true
	}
	return taken, true
}

// fullHere reads a full record. One that repeats samples is out of its place and not taken.
func (w *walker) fullHere(record []byte) (place, bool) {
	p, ok := w.full(record)
	return p, ok && p.position >= w.seen && p.position < math.MaxUint64
}

// link goes on behind a full record and returns how many samples are missing before it.
func (w *walker) link(p place, record step) (lost uint64) {
	lost = p.position - w.seen
	w.at, w.seen, w.linked = p, p.position+1, true
	w.off = record.offset + record.length
	return lost
}

// resync passes over unreadable bytes up to the next full record or the end.
func (w *walker) resync() (step, error) {
	damage := step{kind: stepTail, offset: w.off}
	for off := w.off; off < w.window.size; {
		record, err := w.record(off)
		if err != nil {
			return step{}, err
		}
		if len(record) == 0 {
			if off, err = w.window.skip(off + 1); err != nil {
				return step{}, err
			}
			continue
		}
		if isFull(record) {
			if p, ok := w.fullHere(record); ok {
				w.owed = &step{kind: stepSample, offset: off, length: int64(len(record)), full: true}
				damage.kind, damage.length = stepDamage, off-damage.offset
				damage.lost = w.link(p, *w.owed)
				return damage, nil
			}
		}
		damage.unread++
		off += int64(len(record))
	}
	damage.length = w.window.size - damage.offset
	if damage.unread > 0 {
		damage.kind = stepDamage
	}
	w.off, w.linked = w.window.size, false
	return damage, nil
}

// windowLength is how much of a file is held at once.
const windowLength = 1 << 16

// window reads a file piece by piece.
type window struct {
	source io.ReaderAt
	size   int64
	buf    []byte
	base   int64 // offset of buf[0] in the file
}

// peek returns n bytes from off on, or as many as there are. They hold until the next call.
func (w *window) peek(off int64, n int) ([]byte, error) {
	n = int(min(int64(n), w.size-off))
	if n <= 0 {
		return nil, nil
	}
	if off < w.base || off+int64(n) > w.base+int64(len(w.buf)) {
		if err := w.fill(off, n); err != nil {
			return nil, err
		}
	}
	from := int(off - w.base)
	return w.buf[from : from+n], nil
}

func (w *window) fill(off int64, n int) error {
	length := int(min(max(int64(n), windowLength), w.size-off))
	if cap(w.buf) < length {
		w.buf = make([]byte, length)
	}
	w.buf, w.base = w.buf[:length], off
	read, err := w.source.ReadAt(w.buf, off)
	if read < length {
		w.buf = w.buf[:0]
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF // the file was cut while it was read
		}
		return err
	}
	return nil
}

// skip returns the first offset from off on at which a record could start: a nought never starts one, and after a
// power cut there can be very many.
func (w *window) skip(off int64) (int64, error) {
	for off < w.size {
		if _, err := w.peek(off, 1); err != nil {
			return off, err
		}
		for _, c := range w.buf[off-w.base:] {
			if c != 0 {
				return off, nil
			}
			off++
		}
	}
	return off, nil
}
