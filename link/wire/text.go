package wire

import (
	"strconv"
)

// text collects the readable form of a frame.
type text struct{ b []byte }

func (t *text) add(name string, v int64) {
	t.b = append(t.b, ' ')
	t.b = append(t.b, name...)
	t.b = append(t.b, '=')
	t.b = strconv.AppendInt(t.b, v, 10)
}

func (t *text) addText(name, v string) {
	t.b = append(t.b, ' ')
	t.b = append(t.b, name...)
	t.b = append(t.b, '=')
	t.b = append(t.b, v...)
}

// String writes the frame as in PROTOCOL.md and the vectors: the name of the
// message, then its fields in the order of the wire, each as name=value with the
// integer that is on the wire.
func (f Frame) String() string {
	if f.Message == nil {
		return "nothing"
	}
	var t text
	t.b = append(t.b, f.Message.Type().String()...)
	t.add("number", int64(f.Number))
	f.Message.fields(&t)
	return string(t.b)
}

func flag(on bool) int64 {
	if on {
		return 1
	}
	return 0
}
