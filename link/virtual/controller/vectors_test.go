package controller

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/vectors"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// Of the shared vectors: what is no frame is never answered, what cannot be used
// is refused for its reason, and every good request gets exactly one answer.
func TestVectors(t *testing.T) {
	cases, err := vectors.All()
	require.NoError(t, err)
	for _, v := range cases {
		t.Run(v.ID, func(t *testing.T) {
			h := greeted(t, testConfig())
			dropped := h.c.DroppedFrames()
			h.got = nil
			h.c.Feed(v.Line)
			h.collect()
			var answers []wire.Message
			for _, f := range h.got {
				if _, notice := f.Message.(wire.Notice); !notice {
					answers = append(answers, f.Message)
				}
			}
			switch {
			case v.Fields == "nothing" || v.File == "frames.txt":
				require.Empty(t, answers)
				if v.Reason != "" {
					require.Greater(t, h.c.DroppedFrames(), dropped)
				}
			case !fromHost(v.Line):
				require.Empty(t, answers)
			case v.Valid:
				require.Len(t, answers, 1)
			default:
				require.Len(t, answers, 1)
				require.Equal(t, reasonFor(v.Reason), answers[0].(wire.Refuse).Reason)
			}
		})
	}
}

// fromHost reports whether a line is of a type of the host's.
func fromHost(line []byte) bool {
	var d wire.Decoder
	for _, r := range d.Feed(line) {
		if t, good := typeOf(r); good {
			return t.FromHost()
		}
	}
	return false
}

// reasonFor is the reason that 3 asks for.
func reasonFor(fault string) bench.Reason {
	switch fault {
	case "type":
		return bench.ReasonUnknown
	case "version":
		return bench.ReasonVersion
	}
	return bench.ReasonMalformed
}
