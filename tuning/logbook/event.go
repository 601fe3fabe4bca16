package logbook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"strconv"
	"time"
	"unicode/utf8"
)

// Part of the format, never change.
const (
	eventsName  = "events.txt"
	samplesName = "samples.bin"
	lockName    = "lock"

	eventsTailName  = "events-tail" // and a hyphen, the offset, and a number where the name is taken
	samplesTailName = "samples-tail"

	formatVersion  = 1
	sequenceDigits = 8
	checksumDigits = 8
	mostSequence   = 99_999_999
	longestKind    = 40

	kindRecord  = "record"
	kindResumed = "resumed"
	kindClosed  = "closed"
)

// castagnoli is the polynomial of CRC-32C. Part of the format, never change.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Event is one line of the record.
type Event struct {
	Sequence uint64 // from 1, without gaps
	Wall     time.Time
	Kind     string
	Samples  uint64 // how many samples were recorded before it
	Durable  bool   // it was synced, after those samples, before it was acknowledged
	Payload  json.RawMessage
}

// envelope is the JSON of a line. Part of the format, never change.
type envelope struct {
	Kind    string          `json:"kind"`
	Wall    time.Time       `json:"wall"`
	Samples uint64          `json:"samples"`
	Durable bool            `json:"durable,omitempty"`
	Payload json.RawMessage `json:"payload"`
}

// checkKind refuses kinds that are not short words or that the logbook uses itself.
func checkKind(kind string) error {
	switch kind {
	case kindRecord, kindResumed, kindClosed:
		return &EventError{Kind: kind, What: "the logbook writes events of this kind itself"}
	}
	if !goodKind(kind) {
		return &EventError{Kind: kind, What: "a kind is letters, digits, hyphens and inner spaces, 1 to 40 of them"}
	}
	return nil
}

func goodKind(kind string) bool {
	if kind == "" || len(kind) > longestKind || kind[0] == ' ' || kind[len(kind)-1] == ' ' {
		return false
	}
	for _, c := range []byte(kind) {
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
		digit := c >= '0' && c <= '9'
		if !letter && !digit && c != '-' && c != ' ' {
			return false
		}
	}
	return true
}

// appendLine appends the line of an event to dst.
func appendLine(dst []byte, e Event) ([]byte, error) {
	if e.Sequence > mostSequence {
		return dst, &EventError{Kind: e.Kind, What: "the record has as many events as it can take; start a new one"}
	}
	if e.Payload == nil {
		e.Payload = json.RawMessage("null")
	}
	if !utf8.Valid(e.Payload) {
		return dst, &EventError{Kind: e.Kind, What: "its payload is not UTF-8"}
	}
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false) // the line shall read as it was written
	err := encoder.Encode(envelope{e.Kind, e.Wall.Round(0), e.Samples, e.Durable, e.Payload})
	if err != nil {
		return dst, &EventError{Kind: e.Kind, What: err.Error()}
	}
	body := bytes.TrimSuffix(text.Bytes(), []byte{'\n'})
	digits := fmt.Appendf(nil, "%0*d", sequenceDigits, e.Sequence)
	dst = append(dst, digits...)
	dst = fmt.Appendf(dst, " %0*x ", checksumDigits, lineChecksum(digits, body))
	dst = append(dst, body...)
	return append(dst, '\n'), nil
}

// lineChecksum is the checksum over sequence, a space and the JSON.
func lineChecksum(digits, body []byte) uint32 {
	sum := crc32.Update(0, castagnoli, digits)
	sum = crc32.Update(sum, castagnoli, []byte{' '})
	return crc32.Update(sum, castagnoli, body)
}

// parseLine reads a line without its LF. It says false of anything that this package would not have written.
func parseLine(line []byte) (e Event, checksum uint32, ok bool) {
	const bodyAt = sequenceDigits + 1 + checksumDigits + 1
	if len(line) <= bodyAt || line[sequenceDigits] != ' ' || line[bodyAt-1] != ' ' {
		return Event{}, 0, false
	}
	digits, body := line[:sequenceDigits], line[bodyAt:]
	sequence, ok := parseDigits(digits)
	if !ok {
		return Event{}, 0, false
	}
	checksum = lineChecksum(digits, body)
	if string(line[sequenceDigits+1:bodyAt-1]) != fmt.Sprintf("%0*x", checksumDigits, checksum) {
		return Event{}, 0, false
	}
	var env envelope
	if json.Unmarshal(body, &env) != nil || !goodKind(env.Kind) {
		return Event{}, 0, false
	}
	return Event{sequence, env.Wall, env.Kind, env.Samples, env.Durable, env.Payload}, checksum, true
}

func parseDigits(digits []byte) (uint64, bool) {
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, false
		}
	}
	n, err := strconv.ParseUint(string(digits), 10, 64)
	return n, err == nil
}
