package logbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"time"
)

// resumedPayload is the payload of a resumed event. Part of the format, never change.
type resumedPayload struct {
	Software    string     `json:"software"`
	EventsTail  *asideTail `json:"events_tail,omitempty"`
	SamplesTail *asideTail `json:"samples_tail,omitempty"`
}

// asideTail is a torn tail that was set aside.
type asideTail struct {
	Tail
	File string `json:"file"` // its copy in the folder
}

// Resume opens the record in a folder to go on with it. What is valid stays as it is. A torn tail is first copied to
// a file of its own beside, then cut off, and the resumed event says so. Damage in the samples is left where it is.
// A new connection begins. software is the program that goes on, wall the present wall time.
//
// Errors: those of Open; *HeldError; *CorruptError where good events lie behind damage, or samples.bin cannot be
// gone on with: such a record is kept as it is, and a new one started.
func Resume(fsys FS, dir, software string, wall time.Time) (*Writer, Recovery, error) {
	if err := isRecord(fsys, dir); err != nil {
		return nil, Recovery{}, err // before a lock file is made there
	}
	lock, err := fsys.Lock(path.Join(dir, lockName), wall)
	if err != nil {
		return nil, Recovery{}, fileError("lock", dir, err)
	}
	w, recovery, err := resume(fsys, dir, software, wall, lock)
	if err != nil && w == nil {
		err = errors.Join(err, fileError("unlock", dir, lock.Close()))
	} else if err != nil {
		err = errors.Join(err, w.release())
	}
	if err != nil {
		return nil, recovery, err
	}
	return w, recovery, nil
}

// resume returns a writer to be released also with some errors.
func resume(fsys FS, dir, software string, wall time.Time, lock io.Closer) (*Writer, Recovery, error) {
	o, err := openRecord(fsys, dir)
	if err != nil {
		return nil, Recovery{}, err
	}
	if err := o.record.Close(); err != nil {
		return nil, o.recovery, err
	}
	if err := o.resumable(); err != nil {
		return nil, o.recovery, err
	}
	w := newWriter(fsys, dir, lock, o.layout)
	w.sequence = o.record.Events[len(o.record.Events)-1].Sequence
	w.encoder.recorded, w.encoder.connection = o.position(), o.connection()
	w.synced = o.claimed

	note := resumedPayload{Software: software}
	w.events, note.EventsTail, err = cutTail(fsys, dir, eventsName, eventsTailName, o.recovery.EventsTail, o.eventsValid)
	if err != nil {
		return w, o.recovery, err
	}
	w.samples, note.SamplesTail, err = cutTail(fsys, dir, samplesName, samplesTailName, o.recovery.SamplesTail, o.samplesEnd())
	if err != nil {
		return w, o.recovery, err
	}
	payload, err := json.Marshal(note)
	if err != nil {
		return w, o.recovery, &EventError{Kind: kindResumed, What: err.Error()}
	}
	_, err = w.append(Event{Wall: wall, Kind: kindResumed, Payload: payload, Durable: true})
	return w, o.recovery, err
}

// resumable refuses what a crash cannot have left.
func (o *opened) resumable() error {
	for _, d := range o.recovery.Corrupt {
		if d.File == eventsName {
			return &CorruptError{Path: path.Join(o.record.Dir, d.File), Offset: d.Offset, What: d.what()}
		}
	}
	return o.recovery.SamplesErr
}

// position is that of the next sample: behind all that are there or are known to have been. Behind damage up to the
// end of which no event speaks it counts one sample for the damage.
func (o *opened) position() uint64 {
	position := max(o.record.Samples.reach, o.claimed)
	for _, d := range o.recovery.Corrupt {
		if d.File == samplesName && d.Offset+d.Length == o.samplesEnd() {
			position = max(position, o.record.Samples.reach+1+d.Good)
		}
	}
	return position
}

// connection is the number of the next connection.
func (o *opened) connection() uint32 {
	c := o.record.Samples.connections
	if len(c) == 0 {
		return 1
	}
	return uint32(c[len(c)-1].Number) + 1
}

// samplesEnd is where the torn tail of the samples begins, or the length of the file.
func (o *opened) samplesEnd() int64 { return o.record.Samples.tail.Offset }

// cutTail opens a file for appending at end. Where a torn tail lies there it is copied aside and cut off first.
func cutTail(fsys FS, dir, name, aside string, tail Tail, end int64) (*appendFile, *asideTail, error) {
	file := path.Join(dir, name)
	f, err := openAppend(fsys, file, end)
	if err != nil || tail.Bytes == 0 {
		return f, nil, err
	}
	kept, err := keepAside(fsys, dir, file, aside, tail)
	if err != nil {
		return f, nil, err
	}
	if err := f.file.Truncate(tail.Offset); err != nil {
		return f, nil, fileError("cut", file, err)
	}
	// What is appended must never reach the disk before the cut.
	if err := f.file.Sync(); err != nil {
		return f, nil, fileError("sync", file, err)
	}
	return f, &asideTail{tail, kept}, nil
}

// keepAside copies a tail to a file of its own and returns that file's name.
func keepAside(fsys FS, dir, file, aside string, tail Tail) (string, error) {
	data, err := readPart(fsys, file, tail)
	if err != nil {
		return "", err
	}
	for n := 0; ; n++ {
		name := fmt.Sprintf("%s-%d", aside, tail.Offset)
		if n > 0 {
			name = fmt.Sprintf("%s-%d-%d", aside, tail.Offset, n)
		}
		there, err := readAll(fsys, path.Join(dir, name))
		switch {
		case isKind(err, Missing):
			return name, WriteFile(fsys, path.Join(dir, name), data)
		case err != nil:
			return "", err
		case bytes.Equal(there, data):
			return name, nil // a resume that was cut off has kept it already
		}
	}
}

func readPart(fsys FS, file string, part Tail) ([]byte, error) {
	source, err := fsys.Open(file)
	if err != nil {
		return nil, fileError("open", file, err)
	}
	defer source.Close()
	data := make([]byte, part.Bytes)
	if n, err := source.ReadAt(data, part.Offset); n < len(data) {
		return nil, fileError("read", file, errors.Join(err, io.ErrUnexpectedEOF))
	}
	return data, nil
}
