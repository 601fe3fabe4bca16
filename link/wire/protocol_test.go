package wire_test

import (
	"encoding/hex"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
)

// docExample is an example of PROTOCOL.md: what it says and the bytes below.
type docExample struct {
	says string
	line []byte
}

// docExamples takes the examples out of PROTOCOL.md: in a block marked example,
// the first line is the message, all others are hex.
func docExamples(t *testing.T) []docExample {
	page, err := os.ReadFile("../PROTOCOL.md")
	require.NoError(t, err)
	var examples []docExample
	for _, block := range strings.Split(string(page), "```example\n")[1:] {
		body, _, closed := strings.Cut(block, "\n```")
		require.True(t, closed, "a block is not closed: %.60s", block)
		says, digits, _ := strings.Cut(body, "\n")
		line, err := hex.DecodeString(strings.Join(strings.Fields(digits), ""))
		require.NoError(t, err, says)
		examples = append(examples, docExample{says, line})
	}
	return examples
}

// shapeIn is the shape that the fields of a sample state.
func shapeIn(fields string) (s wire.Shape) {
	for _, f := range strings.Fields(fields) {
		name, value, _ := strings.Cut(f, "=")
		n, _ := strconv.Atoi(value)
		switch name {
		case "counters":
			s.Counters = n
		case "axes":
			s.Axes = n
		}
	}
	return s
}

func TestEveryExampleOfTheProtocol(t *testing.T) {
	seen := map[wire.Type]bool{}
	for _, x := range docExamples(t) {
		var d wire.Decoder
		d.SetShape(shapeIn(x.says))
		results := d.Feed(x.line)
		require.Len(t, results, 1, x.says)
		require.NoError(t, results[0].Err, x.says)
		require.Equal(t, x.says, results[0].Frame.String())

		again, err := wire.Encode(nil, results[0].Frame)
		require.NoError(t, err)
		require.Equal(t, x.line, again, x.says)
		seen[results[0].Frame.Message.Type()] = true
	}
	for _, k := range knownTypes() {
		require.True(t, seen[k], "PROTOCOL.md has no example of %v", k)
	}
}

// knownTypes are all types that have a name.
func knownTypes() (types []wire.Type) {
	for k := range 256 {
		if !strings.HasPrefix(wire.Type(k).String(), "type ") {
			types = append(types, wire.Type(k))
		}
	}
	return types
}

// headings of PROTOCOL.md name each message with its type, as "hello, type 0x01".
func TestTheProtocolNamesEveryType(t *testing.T) {
	page, err := os.ReadFile("../PROTOCOL.md")
	require.NoError(t, err)
	for _, k := range knownTypes() {
		heading := k.String() + ", type 0x" + hex.EncodeToString([]byte{byte(k)}) + "\n"
		require.Equal(t, 1, strings.Count(string(page), heading), "heading %q", heading)
	}
}

// The table of line use is recomputed, so that it cannot drift from the code.
func TestTheProtocolsTableOfLineUse(t *testing.T) {
	page, err := os.ReadFile("../PROTOCOL.md")
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(page), "| counters, axes | bytes |")
	require.True(t, found)
	rows := 0
	for _, row := range strings.Split(rest, "\n")[2:] {
		cells := strings.Split(row, "|")
		if len(cells) < 10 {
			break
		}
		number := func(i int) int {
			n, err := strconv.Atoi(strings.TrimSpace(cells[i]))
			require.NoError(t, err, row)
			return n
		}
		share := func(i int) float64 {
			v, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(cells[i]), " %"), 64)
			require.NoError(t, err, row)
			return v
		}
		var s wire.Shape
		c, a, _ := strings.Cut(strings.TrimSpace(cells[1]), ", ")
		s.Counters, err = strconv.Atoi(c)
		require.NoError(t, err)
		s.Axes, err = strconv.Atoi(a)
		require.NoError(t, err)

		line, err := wire.Encode(nil, wire.Frame{Message: wire.Sample{Shape: s}})
		require.NoError(t, err)
		n := len(line)
		require.Equal(t, n, s.LineBytes())
		require.Equal(t, []int{n, 50 * n, 100 * n, 200 * n}, []int{number(2), number(3), number(4), number(5)})
		require.InDelta(t, float64(200*n)/11520*100, share(6), 0.05)
		require.InDelta(t, float64(200*n)/25000*100, share(7), 0.05)
		require.Equal(t, s.MostHz(wire.BaseBaud), number(8))
		require.Equal(t, s.MostHz(250000), number(9))
		rows++
	}
	require.GreaterOrEqual(t, rows, 5)
	require.GreaterOrEqual(t, wire.Shape{Counters: 4, Axes: 3}.MostHz(wire.BaseBaud), 200, "three axes with four counters must fit the base rate")
}
