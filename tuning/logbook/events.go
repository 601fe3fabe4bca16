package logbook

import "bytes"

// eventsRead is what was found in events.txt.
type eventsRead struct {
	events []Event // the longest valid prefix
	valid  int64   // its length in bytes
	owner  uint32  // checksum of the first line
	tail   Tail    // torn, nothing good in it
	damage *Damage // or: good lines follow behind the prefix
	after  []Event // those good lines
}

// readEvents takes events.txt apart.
func readEvents(data []byte) eventsRead {
	var r eventsRead
	rest := data
	for len(rest) > 0 {
		line, more, ended := bytes.Cut(rest, []byte{'\n'})
		e, checksum, ok := parseLine(line)
		if !ended || !ok || e.Sequence != uint64(len(r.events))+1 {
			break
		}
		if len(r.events) == 0 {
			r.owner = checksum
		}
		r.events = append(r.events, e)
		r.valid += int64(len(line)) + 1
		rest = more
	}
	r.examine(rest)
	return r
}

// examine looks for good lines in what follows the valid prefix.
func (r *eventsRead) examine(rest []byte) {
	length := int64(len(rest))
	firstGood := int64(-1)
	for offset := int64(0); len(rest) > 0; {
		line, more, ended := bytes.Cut(rest, []byte{'\n'})
		if e, _, ok := parseLine(line); ok && ended {
			if firstGood < 0 {
				firstGood = offset
			}
			r.after = append(r.after, e)
		}
		offset += int64(len(line)) + 1
		rest = more
	}
	r.tail.Offset = r.valid
	if firstGood < 0 {
		r.tail.Bytes = length
		return
	}
	r.damage = &Damage{File: eventsName, Offset: r.valid, Length: firstGood, Good: uint64(len(r.after))}
	if next, first := uint64(len(r.events))+1, r.after[0].Sequence; first > next {
		r.damage.Lost = first - next
	}
}
