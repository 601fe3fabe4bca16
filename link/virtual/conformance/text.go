package conformance

import (
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"trunnion/link/wire"
)

// widths are the bytes of each message's fields; a negative width is a signed
// field. The fields are written in the order of the wire, so that the order in
// the text is that of the payload.
var widths = map[string]map[string]int{
	"hello":         {"major": 1, "minor": 1, "token": 4},
	"heartbeat":     {},
	"describe":      {"what": 1},
	"sample-rate":   {"hz": 2},
	"line-rate":     {"baud": 4},
	"arm":           {"token": 4},
	"park":          {},
	"stop":          {},
	"clear":         {},
	"drive":         {"drive": 1},
	"select":        {"axis": 1},
	"tilt":          {"axis": 1, "pulse": 2},
	"pulse-limits":  {"axis": 1, "least": 2, "most": 2, "slew": 2},
	"neutral":       {"axis": 1, "pulse": 2},
	"guards":        {"counter": 1, "counts": 4, "time": 2},
	"travel-limits": {"terms": 1, "counter": 1, "weight": -2, "least": -4, "most": -4},
	"datum":         {"counter": 1, "value": -4},
	"table":         {"axis": 1, "offset": 1, "total": 1, "ratio": -4, "pulse": 2},
	"gains": {
		"axis": 1, "counter": 1, "kp": -4, "kp_exponent": -1, "ki": -4, "ki_exponent": -1,
		"kd": -4, "kd_exponent": -1, "feed_forward": -4, "feed_forward_exponent": -1,
		"filter": 2, "weight": 2, "least": -4, "most": -4, "tracking": 2,
		"hold_zone": 4, "hold_release": 4, "hold_delay": 2, "period": 2,
	},
	"read-table": {"axis": 1},
	"read-gains": {"axis": 1},
	"set-point":  {"axis": 1, "mode": 1, "value": -4, "rate": -4},
	"stream":     {"time": 4, "axis": 1, "mode": 1, "value": -4, "rate": -4},
	"release":    {"axis": 1},
}

// types leads from the names of the host's messages to their types.
var types = func() map[string]wire.Type {
	m := make(map[string]wire.Type)
	for t := wire.Type(1); t.FromHost(); t++ {
		m[t.String()] = t
	}
	return m
}()

// payload returns the bytes that the fields of a message make up. Values that
// no codec would send are written all the same. A field named payload is taken
// as hex.
func payload(name string, fields []field, value func(string) (int64, error)) ([]byte, error) {
	var b []byte
	for _, f := range fields {
		if f.name == "payload" {
			raw, err := hex.DecodeString(f.value)
			if err != nil {
				return nil, err
			}
			b = append(b, raw...)
			continue
		}
		width, known := widths[name][f.name]
		if !known {
			return nil, fmt.Errorf("%s has no field %q", name, f.name)
		}
		v, err := value(f.value)
		if err != nil {
			return nil, err
		}
		for range max(width, -width) {
			b = append(b, byte(v))
			v >>= 8
		}
	}
	return b, nil
}

// encode is wire.Encode without its checks.
func encode(t wire.Type, number uint16, payload []byte) []byte {
	frame := append([]byte{byte(t), byte(number), byte(number >> 8)}, payload...)
	sum := wire.Checksum(frame)
	frame = append(frame, byte(sum), byte(sum>>8))
	line := []byte{0}
	code := 0
	for _, b := range frame { // no run of this length is 254 bytes long
		if b == 0 {
			line[code] = byte(len(line) - code)
			code = len(line)
		}
		line = append(line, b)
	}
	line[code] = byte(len(line) - code)
	return append(line, 0)
}

// field is a name with a value.
type field struct{ name, value string }

// words splits a line into its first word and its fields.
func words(line string) (first string, fields []field) {
	all := strings.Fields(line)
	for _, w := range all[1:] {
		name, value, _ := strings.Cut(w, "=")
		fields = append(fields, field{name, value})
	}
	return all[0], fields
}

// cut takes the field of a name out of fields.
func cut(fields []field, name string) (value string, rest []field) {
	for _, f := range fields {
		if f.name == name {
			value = f.value
			continue
		}
		rest = append(rest, f)
	}
	return value, rest
}

// integer reads a number, decimal or 0x.
func integer(text string) (int64, error) { return strconv.ParseInt(text, 0, 64) }
