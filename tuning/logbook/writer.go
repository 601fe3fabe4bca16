package logbook

import (
	"encoding/json"
	"errors"
	"io"
	"path"
	"sync"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

const (
	// syncEvery is the age at which Tick syncs: half of the second that a power cut may cost, so that the caller's
	// ticks and the sync itself have the other half.
	syncEvery = 500 * time.Millisecond
	// syncSamples is the same on the controller's clock, where nobody calls Tick.
	syncSamples = time.Second
)

// Writer appends to a record. It may be used by several goroutines.
//
// Once a write or sync of a file has failed, that file takes nothing more: what the disk holds is then unknown until
// it is read again, which Resume does. The other file goes on, so that an event can still say that the samples ended.
type Writer struct {
	dir     string
	fsys    FS
	lock    io.Closer
	events  *appendFile
	samples *appendFile

	appending sync.Mutex // one event at a time; guards:
	sequence  uint64
	line      []byte
	synced    uint64 // samples known to be on the disk
	closed    bool
	closeErr  error

	sampling   sync.Mutex // guards:
	encoder    encoder
	record     []byte
	oldest     units.Instant // of a sample not synced yet
	samplesEnd bool

	ticking  sync.Mutex // guards:
	lastSync time.Time
}

// Create makes the folder dir, which must not exist yet, and starts a record in it. wall is the present wall time.
//
// Errors: *FileError, *HeldError, *EventError for an impossible header.
func Create(fsys FS, dir string, header Header, wall time.Time) (*Writer, error) {
	payload, err := header.payload()
	if err != nil {
		return nil, err
	}
	first := Event{Sequence: 1, Wall: wall, Kind: kindRecord, Durable: true, Payload: payload}
	line, err := appendLine(nil, first)
	if err != nil {
		return nil, err
	}
	_, owner, _ := parseLine(line[:len(line)-1])
	layout := newLayout(header, owner)

	if err := fsys.MakeDir(dir); err != nil {
		return nil, fileError("make folder", dir, err)
	}
	lock, err := fsys.Lock(path.Join(dir, lockName), wall)
	if err != nil {
		return nil, fileError("lock", dir, err)
	}
	w := newWriter(fsys, dir, lock, layout)
	w.sequence, w.line = 1, line
	if err := w.createFiles(line, layout.bytes()); err != nil {
		return nil, errors.Join(err, w.release())
	}
	return w, nil
}

func newWriter(fsys FS, dir string, lock io.Closer, l layout) *Writer {
	return &Writer{
		dir: dir, fsys: fsys, lock: lock,
		encoder: encoder{layout: l, start: l.start(), connection: 1, needFull: true},
	}
}

// createFiles makes both files and brings them and their names to the disk. The events come last: a folder that has
// them has a whole record.
func (w *Writer) createFiles(line, head []byte) (err error) {
	if w.samples, err = createFile(w.fsys, path.Join(w.dir, samplesName), head); err != nil {
		return err
	}
	if w.events, err = createFile(w.fsys, path.Join(w.dir, eventsName), line); err != nil {
		return err
	}
	if err := w.fsys.SyncDir(w.dir); err != nil {
		return fileError("sync folder", w.dir, err)
	}
	parent := path.Dir(w.dir)
	return fileError("sync folder", parent, w.fsys.SyncDir(parent))
}

// Dir is the folder of the record.
func (w *Writer) Dir() string { return w.dir }

// Append records an event and returns its sequence number. A durable event is on the disk when Append returns, and so
// are all samples recorded before it. wall is the present wall time; payload is any JSON, nil for none.
//
// Errors: *EventError, with nothing written; *FileError; ErrClosed. Where only the samples could not be synced the
// event is recorded, its sequence number is returned, and the error as well: do not show as done what rests on them.
func (w *Writer) Append(kind string, wall time.Time, payload json.RawMessage, durable bool) (uint64, error) {
	if err := checkKind(kind); err != nil {
		return 0, err
	}
	w.appending.Lock()
	defer w.appending.Unlock()
	if w.closed {
		return 0, ErrClosed
	}
	return w.append(Event{Wall: wall, Kind: kind, Payload: payload, Durable: durable})
}

// append writes an event; the caller holds appending.
func (w *Writer) append(e Event) (uint64, error) {
	e.Samples = w.Recorded()
	var samplesErr error
	if e.Durable {
		if samplesErr = w.samples.sync(); samplesErr == nil {
			w.synced = e.Samples
		}
		e.Samples = w.synced
	}
	e.Sequence = w.sequence + 1
	line, err := appendLine(w.line[:0], e)
	if err != nil {
		return 0, err
	}
	w.line = line
	if err := w.events.write(line); err != nil {
		return 0, errors.Join(err, samplesErr)
	}
	w.sequence = e.Sequence
	if e.Durable {
		if err := w.events.sync(); err != nil {
			return 0, errors.Join(err, samplesErr)
		}
	}
	return e.Sequence, samplesErr
}

// Recorded is how many samples the record has, lost ones included.
func (w *Writer) Recorded() uint64 {
	w.sampling.Lock()
	defer w.sampling.Unlock()
	return w.encoder.recorded
}

// WriteSample records a sample and returns once the operating system has it. A sample whose sequence number or time
// does not go on from the last one begins a new connection.
//
// Errors: *SampleError, with nothing written; *FileError; ErrClosed.
func (w *Writer) WriteSample(s bench.Sample) error {
	due, err := w.writeSample(&s)
	if err != nil || !due {
		return err
	}
	return w.samples.sync()
}

// writeSample reports whether the samples have gone unsynced for too long.
func (w *Writer) writeSample(s *bench.Sample) (due bool, err error) {
	w.sampling.Lock()
	defer w.sampling.Unlock()
	if w.samplesEnd {
		return false, ErrClosed
	}
	if err := w.samples.failed(); err != nil {
		return false, err
	}
	if err := w.encoder.check(s); err != nil {
		return false, err
	}
	if !w.samples.dirty() {
		w.oldest = s.At
	}
	w.record = w.encoder.encode(w.record[:0], s)
	if err := w.samples.write(w.record); err != nil {
		w.encoder.recorded--
		return false, err
	}
	age := s.At.Sub(w.oldest)
	return age < 0 || age >= syncSamples, nil
}

// BeginConnection says that the next sample comes from a new connection to the controller, on which sequence and
// times start anew, and returns its number. Create and Resume begin one by themselves.
func (w *Writer) BeginConnection() int {
	w.sampling.Lock()
	defer w.sampling.Unlock()
	w.encoder.beginConnection()
	return int(w.encoder.connection)
}

// Tick syncs what has been unsynced for long enough. now is any clock that goes forward. Call it at least every
// 200 ms, also while no samples come, from a goroutine that may wait for the disk.
func (w *Writer) Tick(now time.Time) error {
	w.ticking.Lock()
	defer w.ticking.Unlock()
	if err := errors.Join(w.samples.failed(), w.events.failed()); err != nil {
		return err
	}
	age := now.Sub(w.lastSync)
	if w.samples.dirty() || w.events.dirty() {
		if age >= 0 && age < syncEvery {
			return nil
		}
		if err := errors.Join(w.samples.sync(), w.events.sync()); err != nil {
			return err
		}
	}
	w.lastSync = now
	return nil
}

// Close ends the record with a closed event and gives the lock back. Called again it returns what it returned first.
func (w *Writer) Close(wall time.Time) error {
	w.appending.Lock()
	defer w.appending.Unlock()
	if w.closed {
		return w.closeErr
	}
	w.closed = true
	w.sampling.Lock()
	w.samplesEnd = true
	w.sampling.Unlock()
	if w.samples.sync() == nil { // its failure is told by append
		w.synced = w.Recorded()
	}
	totals := closedPayload{Samples: w.synced, SamplesBytes: w.samples.kept()}
	payload, err := json.Marshal(totals)
	if err == nil {
		_, err = w.append(Event{Wall: wall, Kind: kindClosed, Payload: payload, Durable: true})
	}
	w.closeErr = errors.Join(err, w.release())
	return w.closeErr
}

// release closes the files and gives the lock back.
func (w *Writer) release() error {
	var errs []error
	for _, f := range []*appendFile{w.events, w.samples} {
		if f != nil {
			errs = append(errs, f.close())
		}
	}
	return errors.Join(append(errs, fileError("unlock", w.dir, w.lock.Close()))...)
}
