package wire_test

import (
	"bytes"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/vectors"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// faultOf is the fault that an error of a Decoder or of Encode names.
func faultOf(err error) wire.Fault {
	var bad *wire.BadFrame
	var malformed *wire.Malformed
	switch {
	case errors.As(err, &bad):
		return bad.Fault
	case errors.As(err, &malformed):
		return malformed.Fault
	}
	return wire.FaultNone
}

func eachVector(t *testing.T, each func(*testing.T, vectors.Case)) {
	cases, err := vectors.All()
	require.NoError(t, err)
	require.NotEmpty(t, cases)
	for _, c := range cases {
		t.Run(c.ID, func(t *testing.T) { each(t, c) })
	}
}

func TestVectors(t *testing.T) {
	eachVector(t, func(t *testing.T, c vectors.Case) {
		var d wire.Decoder
		d.SetShape(shapeIn(c.Fields))
		results := d.Feed(c.Line)
		switch {
		case c.Fields == "nothing":
			require.Empty(t, results)
			require.Equal(t, wire.Stats{}, d.Stats())
		case c.Valid:
			require.Len(t, results, 1)
			require.NoError(t, results[0].Err)
			require.Equal(t, c.Fields, results[0].Frame.String())
			line, err := wire.Encode(nil, results[0].Frame)
			require.NoError(t, err)
			require.Equal(t, bytes.TrimLeft(c.Line, "\x00"), line)
		default:
			require.NotEmpty(t, results)
			for _, r := range results {
				require.Error(t, r.Err, "%v", r.Frame)
			}
			require.Equal(t, c.Reason, faultOf(results[0].Err).String())
		}
	})
}

// A controller's answer to a message that cannot be used; sources: sections 3
// and 13 of PROTOCOL.md.
func TestRefusalOfVectors(t *testing.T) {
	eachVector(t, func(t *testing.T, c vectors.Case) {
		if c.File != "payloads.txt" {
			t.Skip("not a message")
		}
		var d wire.Decoder
		d.SetShape(shapeIn(c.Fields))
		var malformed *wire.Malformed
		require.ErrorAs(t, d.Feed(c.Line)[0].Err, &malformed)
		want := bench.ReasonMalformed
		switch c.Reason {
		case "type":
			want = bench.ReasonUnknown
		case "version":
			want = bench.ReasonVersion
			require.Equal(t, int32(wire.Major), malformed.Refusal().Detail)
		}
		require.Equal(t, want, malformed.Reason())
		require.Equal(t, want, malformed.Refusal().Reason)
		require.Equal(t, malformed.Type, malformed.Refusal().Request)
	})
}

// The errors can be read: each says what is wrong, with nothing left unfilled.
func TestErrorsCanBeRead(t *testing.T) {
	eachVector(t, func(t *testing.T, c vectors.Case) {
		var d wire.Decoder
		for _, r := range d.Feed(c.Line) {
			if r.Err != nil {
				require.NotContains(t, r.Err.Error(), "%!")
				require.NotContains(t, r.Err.Error(), ": ;")
			}
		}
	})
}

// What a receiver would not take is not sent either: a malformed value that
// comes by way of the structs.
func TestEncodeRefusesWhatDecodeRefuses(t *testing.T) {
	tooMany := make([]wire.Guard, wire.MaxGuards+1)
	for i := range tooMany {
		tooMany[i].Counts = 1
	}
	for _, f := range []wire.Frame{
		{Number: 1},
		{Number: 1, Message: wire.Hello{Major: 1}},
		{Number: 0, Message: wire.Hello{Major: 2}},
		{Number: 0, Message: wire.Stop{}},
		{Number: 1, Message: wire.Drive{Direction: -1}},
		{Number: 1, Message: wire.Tilt{}},
		{Number: 1, Message: wire.Guards{Guards: tooMany}},
		{Number: 1, Message: wire.TravelLimits{Limits: make([]wire.TravelLimit, 100)}},
		{Number: 1, Message: wire.Table{Total: 33, Points: make([]bench.TablePoint, 100)}},
		{Number: 1, Message: wire.Sample{}},
		{Number: 1, Message: wire.Sample{Shape: wire.Shape{Counters: 9, Axes: 1}}},
		{Number: 1, Message: wire.Sample{Shape: wire.Shape{Axes: 1}, Cause: 16}},
		{Number: 1, Message: wire.Sample{Shape: wire.Shape{Axes: 1}, Axes: [bench.MaxAxes]wire.SampleAxis{{PulseTenths: 0x8000}}}},
		{Number: 1, Message: wire.Identity{Name: string(make([]byte, 300))}},
	} {
		line, err := wire.Encode([]byte("kept"), f)
		require.Error(t, err, "%v", f)
		require.NotEqual(t, wire.FaultNone, faultOf(err))
		require.Equal(t, "kept", string(line), "nothing is appended")
	}
}
