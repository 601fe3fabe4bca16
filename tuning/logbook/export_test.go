package logbook

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
)

// For the tests alone.

var Castagnoli = castagnoli

// Line makes a line with a right checksum of any JSON.
func Line(sequence int, body []byte) []byte {
	digits := fmt.Appendf(nil, "%0*d", sequenceDigits, sequence)
	return fmt.Appendf(nil, "%s %0*x %s\n", digits, checksumDigits, lineChecksum(digits, body), body)
}

// SamplesHeader gives samples another version, and a right checksum.
func SamplesHeader(version uint16, samples []byte) []byte {
	b := append([]byte(nil), samples...)
	binary.LittleEndian.PutUint16(b[versionAt:], version)
	binary.LittleEndian.PutUint32(b[headerSumAt:], crc32.Checksum(b[:headerSumAt], castagnoli))
	return b
}
