package logbook

import (
	"errors"
	"path"
)

// Record is a record open for reading. Close it after use.
type Record struct {
	Dir     string
	Header  Header
	Events  []Event  // the longest valid prefix, the header event first
	Samples *Samples // never nil; those up to the trouble where Recovery.SamplesErr is set
}

// Close lets go of the samples.
func (r *Record) Close() error { return r.Samples.close() }

// Open reads the record in a folder, goes through all of it, and says in Recovery what it lacks. It changes nothing
// and takes no lock, so a record that is being written can be read as far as it goes.
//
// Errors: *FileError, *NotRecordError, *VersionError, *CorruptError where not even the first line can be trusted.
func Open(fsys FS, dir string) (*Record, Recovery, error) {
	o, err := openRecord(fsys, dir)
	if err != nil {
		return nil, Recovery{}, err
	}
	return o.record, o.recovery, nil
}

// opened is a record read, with what Resume needs besides.
type opened struct {
	record   *Record
	recovery Recovery
	layout   layout

	eventsValid int64  // length of the valid prefix
	claimed     uint64 // the most samples that a durable event says were synced
}

func openRecord(fsys FS, dir string) (opened, error) {
	events, header, err := openEvents(fsys, dir)
	if err != nil {
		return opened{}, err
	}
	o := opened{
		record:   &Record{Dir: dir, Header: header, Events: events.events},
		recovery: Recovery{EventsTail: events.tail, After: events.after},
		layout:   newLayout(header, events.owner),

		eventsValid: events.valid,
	}
	if events.damage != nil {
		o.recovery.Corrupt = append(o.recovery.Corrupt, *events.damage)
	}
	samples, err := openSamples(fsys, path.Join(dir, samplesName), o.layout)
	samples.err, o.recovery.SamplesErr = err, err
	o.record.Samples = samples
	o.recovery.SamplesTail = samples.tail
	o.recovery.Corrupt = append(o.recovery.Corrupt, samples.damage...)
	o.compare()
	return o, nil
}

// isRecord returns a *NotRecordError where there are no events.
func isRecord(fsys FS, dir string) error {
	file := path.Join(dir, eventsName)
	source, err := fsys.Open(file)
	if err = fileError("open", file, err); isKind(err, Missing) {
		return &NotRecordError{Dir: dir, What: "there is no " + eventsName}
	}
	if err != nil {
		return err
	}
	return fileError("close", file, source.Close())
}

func openEvents(fsys FS, dir string) (eventsRead, Header, error) {
	if err := isRecord(fsys, dir); err != nil {
		return eventsRead{}, Header{}, err
	}
	file := path.Join(dir, eventsName)
	data, err := readAll(fsys, file)
	if err != nil {
		return eventsRead{}, Header{}, err
	}
	events := readEvents(data)
	if len(events.events) == 0 {
		if len(events.after) > 0 {
			return eventsRead{}, Header{}, &CorruptError{Path: file, What: "its first line cannot be read, others can"}
		}
		return eventsRead{}, Header{}, &NotRecordError{Dir: dir, What: "the first line of " + eventsName + " is not whole"}
	}
	header, err := parseHeader(file, events.events[0])
	return events, header, err
}

// compare holds what the events say of the samples against what is there.
func (o *opened) compare() {
	for _, list := range [][]Event{o.record.Events, o.recovery.After} {
		for _, e := range list {
			if e.Durable {
				o.claimed = max(o.claimed, e.Samples)
			}
		}
	}
	if reach := o.record.Samples.reach; o.recovery.SamplesErr == nil && o.claimed > reach {
		o.recovery.Missing = o.claimed - reach
		o.record.Samples.missing = o.recovery.Missing
	}
	last := o.record.Events[len(o.record.Events)-1]
	o.recovery.Closed = last.Kind == kindClosed && len(o.recovery.After) == 0 && o.recovery.EventsTail.Bytes == 0
}

// closedPayload is the payload of a closed event. Part of the format, never change.
type closedPayload struct {
	Samples      uint64 `json:"samples"`
	SamplesBytes int64  `json:"samples_bytes"`
}

// openSamples opens samples.bin and goes through it. On error the samples are those before it, perhaps none, never nil.
func openSamples(fsys FS, file string, l layout) (*Samples, error) {
	s := &Samples{path: file, decoder: newDecoder(l)}
	source, err := fsys.Open(file)
	if err != nil {
		return s, fileError("open", file, err)
	}
	head := make([]byte, min(samplesHeader, source.Size()))
	if n, err := source.ReadAt(head, 0); n < len(head) {
		return s, errors.Join(fileError("read", file, err), source.Close())
	}
	if err := parseLayout(file, head, l); err != nil {
		source.Close()
		return s, err
	}
	s.source = source
	return s, fileError("read", file, s.survey())
}
