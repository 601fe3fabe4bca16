package wire_test

import (
	"testing"

	"trunnion/fixtures/vectors"
	"trunnion/link/wire"
)

// Any bytes, in two pieces: nothing panics, a split changes nothing, and every
// message that comes out goes back in as it was.
func FuzzDecode(f *testing.F) {
	cases, err := vectors.All()
	if err != nil {
		f.Fatal(err)
	}
	for _, c := range cases {
		f.Add(c.Line, uint8(len(c.Line)/2), uint8(4), uint8(3))
	}
	f.Fuzz(func(t *testing.T, line []byte, cut, counters, axes uint8) {
		shape := wire.Shape{Counters: int(counters % 10), Axes: int(axes % 8)}
		var whole, pieces wire.Decoder
		whole.SetShape(shape)
		pieces.SetShape(shape)
		at := min(int(cut), len(line))
		got := append(pieces.Feed(line[:at]), pieces.Feed(line[at:])...)
		want := whole.Feed(line)
		if len(got) != len(want) || whole.Stats() != pieces.Stats() {
			t.Fatalf("a cut at %d gives %d results, not %d", at, len(got), len(want))
		}
		for i, r := range want {
			if got[i].Frame.String() != r.Frame.String() || faultOf(got[i].Err) != faultOf(r.Err) {
				t.Fatalf("a cut at %d changes result %d", at, i)
			}
			if r.Err == nil {
				roundTrip(t, r.Frame)
			}
		}
	})
}

// Any type, number and payload, in a good frame.
func FuzzRoundTrip(f *testing.F) {
	cases, err := vectors.All()
	if err != nil {
		f.Fatal(err)
	}
	for _, c := range cases {
		if b := unframe(c.Line); len(b) >= 5 {
			f.Add(b[0], uint16(b[1])|uint16(b[2])<<8, b[3:len(b)-2], uint8(4), uint8(3))
		}
	}
	f.Fuzz(func(t *testing.T, kind uint8, number uint16, payload []byte, counters, axes uint8) {
		line := frame(append([]byte{kind, byte(number), byte(number >> 8)}, payload...))
		var d wire.Decoder
		d.SetShape(wire.Shape{Counters: int(counters % 10), Axes: int(axes % 8)})
		results := d.Feed(line)
		if len(results) != 1 {
			t.Fatalf("%d results from one frame", len(results))
		}
		if r := results[0]; r.Err == nil {
			roundTrip(t, r.Frame)
			again, _ := wire.Encode(nil, r.Frame)
			if string(again) != string(line) {
				t.Fatalf("%v: the same message has two forms:\n% x\n% x", r.Frame, line, again)
			}
		} else if fault := faultOf(r.Err); len(payload) <= wire.MaxPayload && (fault < wire.FaultType || fault > wire.FaultShape) {
			t.Fatalf("a good frame has fault %v", fault)
		} else if len(payload) > wire.MaxPayload && fault != wire.FaultLong {
			t.Fatalf("a frame that is too long has fault %v", fault)
		}
	})
}

// roundTrip checks that a decoded frame encodes and decodes to itself.
func roundTrip(t *testing.T, f wire.Frame) {
	line, err := wire.Encode(nil, f)
	if err != nil {
		t.Fatalf("%v was decoded but cannot be encoded: %v", f, err)
	}
	if len(line) > wire.MaxLine {
		t.Fatalf("%v takes %d bytes", f, len(line))
	}
	var d wire.Decoder
	if m, ok := f.Message.(wire.Sample); ok {
		d.SetShape(m.Shape)
	}
	results := d.Feed(line)
	if len(results) != 1 || results[0].Err != nil || results[0].Frame.String() != f.String() {
		t.Fatalf("%v comes back as %v", f, results)
	}
}

// frame and unframe are the plainest form of the framing, apart from the
// package's own.
func frame(b []byte) []byte {
	sum := wire.Checksum(b)
	b = append(b, byte(sum), byte(sum>>8))
	var line, block []byte
	for i := 0; i <= len(b); i++ {
		if i == len(b) || b[i] == 0 {
			line = append(append(line, byte(len(block)+1)), block...)
			block = nil
			continue
		}
		block = append(block, b[i])
		if len(block) == 254 && i+1 < len(b) {
			line = append(append(line, 255), block...)
			block = nil
		}
	}
	return append(line, 0)
}

func unframe(line []byte) (b []byte) {
	for len(line) > 0 && line[0] == 0 {
		line = line[1:]
	}
	for len(line) > 1 {
		n := int(line[0])
		if n > len(line)-1 {
			return nil
		}
		b = append(b, line[1:n]...)
		line = line[n:]
		if len(line) > 1 {
			b = append(b, 0)
		}
	}
	return b
}
