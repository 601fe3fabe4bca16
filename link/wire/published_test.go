package wire

import (
	"bytes"
	"encoding/hex"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func unhex(t *testing.T, digits string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(digits, " ", ""))
	require.NoError(t, err)
	return b
}

// span is the bytes from first to last.
func span(first, last byte) (b []byte) {
	for k := int(first); k <= int(last); k++ {
		b = append(b, byte(k))
	}
	return b
}

func join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

const cheshireBaker = "COBS: Cheshire and Baker, IEEE/ACM ToN 7(2), 1999, and the examples published with its descriptions"

// stuffable: the data have no run that frames never have, so stuff does them.
var cobsCases = []struct {
	data, coded []byte
	stuffable   bool
	source      string
}{
	{[]byte{}, []byte{1}, true, cheshireBaker},
	{[]byte{0}, []byte{1, 1}, true, cheshireBaker},
	{[]byte{0, 0}, []byte{1, 1, 1}, true, cheshireBaker},
	{[]byte{0, 0x11, 0}, []byte{1, 2, 0x11, 1}, true, cheshireBaker},
	{[]byte{0x11, 0x22, 0, 0x33}, []byte{3, 0x11, 0x22, 2, 0x33}, true, cheshireBaker},
	{[]byte{0x11, 0x22, 0x33, 0x44}, []byte{5, 0x11, 0x22, 0x33, 0x44}, true, cheshireBaker},
	{[]byte{0x11, 0, 0, 0}, []byte{2, 0x11, 1, 1, 1}, true, cheshireBaker},
	{span(1, 0xfe), join([]byte{0xff}, span(1, 0xfe)), true, cheshireBaker},
	{join([]byte{0}, span(1, 0xfe)), join([]byte{1, 0xff}, span(1, 0xfe)), true, cheshireBaker},
	{span(1, 0xff), join([]byte{0xff}, span(1, 0xfe), []byte{2, 0xff}), false, cheshireBaker},
	{join(span(2, 0xff), []byte{0}), join([]byte{0xff}, span(2, 0xff), []byte{1, 1}), false, cheshireBaker},
	{join(span(3, 0xff), []byte{0, 1}), join([]byte{0xfe}, span(3, 0xff), []byte{2, 1}), true, cheshireBaker},
	{span(1, 0xfe), join([]byte{0xff}, span(1, 0xfe), []byte{1}), false, "the same data from encoders that end a full block by another code byte; decoders take both"},
}

func TestPublishedCOBS(t *testing.T) {
	for _, c := range cobsCases {
		require.NotEmpty(t, c.source)
		data, ok := unstuff(bytes.Clone(c.coded))
		require.True(t, ok, "% x", c.coded)
		require.True(t, bytes.Equal(c.data, data), "% x: got % x", c.coded, data)
		if c.stuffable {
			p := append([]byte{0}, c.data...)
			stuff(p)
			require.Equal(t, c.coded, p)
		}
	}
}

func TestUnstuffRefuses(t *testing.T) {
	for _, bad := range []string{"02", "00", "03 11", "01 00 01", "03 00 11", "03 11 00", "ff 01 02", "05 11 22 33"} {
		_, ok := unstuff(unhex(t, bad))
		require.False(t, ok, bad)
	}
}

func TestPublishedChecksum(t *testing.T) {
	for _, c := range []struct {
		data   []byte
		want   uint16
		source string
	}{
		{[]byte("123456789"), 0x29b1, "catalogue of parametrised CRC algorithms, CRC-16/IBM-3740, check"},
		{nil, 0xffff, "closed form: the start value, with no final exclusive-or"},
		{[]byte{0}, 0xe1f0, "closed form: 0x00ff through one byte of 0x1021, in bits, by hand: table entry 0xff is 0x1ef0, 0xff00 ^ 0x1ef0 = 0xe1f0"},
	} {
		require.NotEmpty(t, c.source)
		require.Equal(t, c.want, Checksum(c.data), c.source)
	}
	// A message followed by its checksum, high byte first, leaves 0: the
	// definition of a remainder.
	require.Zero(t, Checksum(append([]byte("123456789"), 0x29, 0xb1)))
}
