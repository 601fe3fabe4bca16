package conformance_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	scripts "trunnion/fixtures/conformance"
	"trunnion/link/virtual/conformance"
	"trunnion/link/virtual/controller"
	"trunnion/link/wire"
)

func run(t *testing.T, board controller.Config, name, text string) conformance.Result {
	t.Helper()
	_, target, err := conformance.NewStand(board)
	require.NoError(t, err)
	result, err := conformance.Run(target, name, text)
	require.NoError(t, err)
	return result
}

// withSelector is the board of the examples with a selector.
func withSelector() controller.Config {
	board := conformance.Board()
	board.Identity.Capabilities |= wire.HasSelector
	board.SelectMicros = 150_000
	return board
}

func TestSoftwareControllerPassesEveryScript(t *testing.T) {
	require.NotEmpty(t, scripts.Names())
	for _, name := range scripts.Names() {
		t.Run(name, func(t *testing.T) {
			text, err := scripts.Text(name)
			require.NoError(t, err)
			result := run(t, conformance.Board(), name, text)
			if result.LeftOut != "" {
				result = run(t, withSelector(), name, text)
			}
			require.Empty(t, result.LeftOut)
			require.NotZero(t, result.Blocks)
			for _, f := range result.Failures {
				t.Error(f)
			}
		})
	}
}

// A runner that passes everything would be of no use.
func TestWhatIsNotAsExpectedFails(t *testing.T) {
	const hello = "send hello major=1 minor=0 token=5\n----\nidentity\n\n"
	for name, block := range map[string]string{
		"another answer":      "send drive drive=1\n----\nack\n",
		"another field":       "send drive drive=1\n----\nrefuse reason=4\n",
		"nothing expected":    "send drive drive=1\n",
		"nothing received":    "wait 20\n----\nack\n",
		"a notice too many":   "send arm token=5\n----\nack\n",
		"out of range":        "send heartbeat\n----\nack number=1..9\n",
		"a field it has not":  "send heartbeat\n----\nack reason=0\n",
		"one answer for two":  "send heartbeat\n----\nack\nack\n",
		"another kept number": "send heartbeat\n----\nack time=>t\n\nsend heartbeat\n----\nack time=t\n",
	} {
		result := run(t, conformance.Board(), name, hello+block)
		require.Len(t, result.Failures, 1, name)
		assert.NotZero(t, result.Failures[0].Line, name)
	}
}

func TestWhatCannotBeReadIsAnError(t *testing.T) {
	for name, text := range map[string]string{
		"no such command":  "\njump 3\n",
		"no such message":  "\nsend home axis=0\n",
		"no such field":    "\nsend drive axis=0\n",
		"no such name":     "\nsend drive drive=x\n",
		"nothing before":   "\n----\nack\n",
		"no such bench":    "\nbench explode\n",
		"unreadable range": "\nsend heartbeat\n----\nrefuse number=a..b\n",
	} {
		_, target, err := conformance.NewStand(conformance.Board())
		require.NoError(t, err)
		_, err = conformance.Run(target, name, text)
		var format *conformance.FormatError
		require.ErrorAs(t, err, &format, name)
		assert.Equal(t, name, format.Script)
		assert.Equal(t, 2, format.Line, name)
	}
}

func TestWhatTheTargetLacksIsLeftOut(t *testing.T) {
	text := "needs axes=4\n\nsend drive drive=1\n"
	assert.NotEmpty(t, run(t, conformance.Board(), "four", text).LeftOut)

	_, target, err := conformance.NewStand(conformance.Board())
	require.NoError(t, err)
	target.Bench = nil
	result, err := conformance.Run(target, "bench", "needs bench\n\nsend drive drive=1\n")
	require.NoError(t, err)
	assert.NotEmpty(t, result.LeftOut)
	assert.Zero(t, result.Blocks)
}

// The scripts must find what a controller does wrong. Each fault here is one
// that a maker of a controller could make.
func TestScriptsFindFaults(t *testing.T) {
	text, err := scripts.Text("12-samples.txt")
	require.NoError(t, err)
	board := conformance.Board()
	board.Identity.MostSampleHz = 60 // refuses the 70 that the script asks for
	require.NotEmpty(t, run(t, board, "slow samples", text).Failures)

	text, err = scripts.Text("08-pulses.txt")
	require.NoError(t, err)
	board = conformance.Board()
	board.Identity.FrameMicros = 60000 // pulses come later than a frame of 20 ms
	require.NotEmpty(t, run(t, board, "long frame", text).Failures)

	text, err = scripts.Text("03-requests.txt")
	require.NoError(t, err)
	text = strings.Replace(text, "again\n----\nack number=2 time=on", "send drive drive=1\n----\nack number=2 time=on", 1)
	require.NotEmpty(t, run(t, conformance.Board(), "a repeat that is none", text).Failures)
}

func TestFailureSaysWhereAndWhat(t *testing.T) {
	var err error = conformance.Failure{Script: "s", Line: 3, Title: "about", Missing: []string{"ack"}}
	var failure conformance.Failure
	require.True(t, errors.As(err, &failure))
	for _, part := range []string{"s:3", "about", "ack"} {
		assert.Contains(t, err.Error(), part)
	}
}
