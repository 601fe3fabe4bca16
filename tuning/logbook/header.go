package logbook

import (
	"encoding/binary"
	"encoding/json"
	"hash/crc32"

	"trunnion/tuning/bench"
)

// Header says what a record is of.
type Header struct {
	Software string // name and version of the program that started it
	RigHash  string // of the rig description in force
	Counters int    // how many counters a sample holds, at most bench.MaxCounters
	Axes     int    // how many axes, at most bench.MaxAxes
}

// headerPayload is the payload of the first event. Part of the format, never change.
type headerPayload struct {
	Format      int    `json:"format"`
	Software    string `json:"software"`
	Rig         string `json:"rig"`
	SamplesFile string `json:"samples_file"`
	Counters    int    `json:"counters"`
	Axes        int    `json:"axes"`
}

func (h Header) payload() (json.RawMessage, error) {
	if h.Counters < 0 || h.Counters > bench.MaxCounters || h.Axes < 0 || h.Axes > bench.MaxAxes {
		return nil, &EventError{Kind: kindRecord, What: "a sample cannot hold so many counters or axes"}
	}
	return json.Marshal(headerPayload{formatVersion, h.Software, h.RigHash, samplesName, h.Counters, h.Axes})
}

// parseHeader reads the first event.
func parseHeader(path string, first Event) (Header, error) {
	var p headerPayload
	if first.Kind != kindRecord || first.Sequence != 1 || json.Unmarshal(first.Payload, &p) != nil {
		return Header{}, &CorruptError{Path: path, What: "its first line is not that of a record"}
	}
	if p.Format != formatVersion {
		return Header{}, &VersionError{Path: path, Found: p.Format, Known: formatVersion}
	}
	h := Header{p.Software, p.Rig, p.Counters, p.Axes}
	if _, err := h.payload(); err != nil || p.SamplesFile != samplesName {
		return Header{}, &CorruptError{Path: path, What: "its first line says impossible things of the samples"}
	}
	return h, nil
}

// Part of the format, never change.
const (
	samplesMagic   = "TRUNSMPL"
	samplesHeader  = 20 // bytes
	versionAt      = 8
	countersAt     = 10
	axesAt         = 11
	ownerAt        = 12
	headerSumAt    = 16
	checksumLength = 4
)

// layout is what the header of samples.bin says.
type layout struct {
	counters, axes int
	owner          uint32 // checksum of the first line of events.txt
	sum            uint32 // the header's own checksum, from which those of the records go on
}

func newLayout(h Header, owner uint32) layout {
	l := layout{counters: h.Counters, axes: h.Axes, owner: owner}
	l.sum = crc32.Checksum(l.bytes()[:headerSumAt], castagnoli)
	return l
}

// bytes is the header of samples.bin.
func (l layout) bytes() []byte {
	b := append(make([]byte, 0, samplesHeader), samplesMagic...)
	b = binary.LittleEndian.AppendUint16(b, formatVersion)
	b = append(b, byte(l.counters), byte(l.axes))
	b = binary.LittleEndian.AppendUint32(b, l.owner)
	return binary.LittleEndian.AppendUint32(b, l.sum)
}

// start is the checksum with which every record's checksum begins.
func (l layout) start() uint32 {
	var sum [checksumLength]byte
	binary.LittleEndian.PutUint32(sum[:], l.sum)
	return crc32.Checksum(sum[:], castagnoli)
}

// parseLayout reads the header of samples.bin and holds it against what events.txt says.
func parseLayout(path string, b []byte, want layout) error {
	damaged := func(what string) error { return &CorruptError{Path: path, What: what} }
	if len(b) < samplesHeader {
		return damaged("its header is cut off")
	}
	sum := crc32.Checksum(b[:headerSumAt], castagnoli)
	if string(b[:versionAt]) != samplesMagic || sum != binary.LittleEndian.Uint32(b[headerSumAt:]) {
		return damaged("its header is not that of samples")
	}
	if v := binary.LittleEndian.Uint16(b[versionAt:]); v != formatVersion {
		return &VersionError{Path: path, Found: int(v), Known: formatVersion}
	}
	if string(b[:samplesHeader]) != string(want.bytes()) {
		return damaged("it belongs to another record")
	}
	return nil
}
