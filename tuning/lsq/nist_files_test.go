package lsq

import (
	"io/fs"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/nist"
)

// nistSet is one file of the NIST Statistical Reference Datasets.
type nistSet struct {
	name      string
	starts    [2][]float64 // nonlinear only
	certified []float64
	stdErr    []float64
	residSD   float64
	y         []float64
	x         [][]float64 // by reading, then predictor
}

var (
	nonlinearLine = regexp.MustCompile(`^\s*b\d+\s*=\s*(\S+)\s+(\S+)\s+(\S+)\s+(\S+)\s*$`)
	linearLine    = regexp.MustCompile(`^\s*B\d+\s+(\S+)\s+(\S+)\s*$`)
	residLine     = regexp.MustCompile(`^(?:Residual )?\s*Standard Deviation:?\s+(\S+)\s*$`)
	dataLines     = regexp.MustCompile(`Data\s+\(lines\s+(\d+)\s+to\s+(\d+)\)`)
)

func readNIST(t testing.TB, name string) nistSet {
	t.Helper()
	data, err := fs.ReadFile(nist.FS, name+".dat")
	require.NoError(t, err)
	lines := strings.Split(strings.ReplaceAll(string(data), "\r", ""), "\n")
	set := nistSet{name: name}
	first, last := 0, 0
	for _, line := range lines[:60] {
		if m := nonlinearLine.FindStringSubmatch(line); m != nil {
			set.starts[0] = append(set.starts[0], number(t, m[1]))
			set.starts[1] = append(set.starts[1], number(t, m[2]))
			set.certified = append(set.certified, number(t, m[3]))
			set.stdErr = append(set.stdErr, number(t, m[4]))
		}
		if m := linearLine.FindStringSubmatch(line); m != nil {
			set.certified = append(set.certified, number(t, m[1]))
			set.stdErr = append(set.stdErr, number(t, m[2]))
		}
		if m := residLine.FindStringSubmatch(line); m != nil {
			set.residSD = number(t, m[1])
		}
		if m := dataLines.FindStringSubmatch(line); m != nil {
			first, last = int(number(t, m[1])), int(number(t, m[2]))
		}
	}
	require.NotZero(t, first, "%s: no data lines named", name)
	for _, line := range lines[first-1 : last] {
		fields := strings.Fields(line)
		require.GreaterOrEqual(t, len(fields), 2, "%s: %q", name, line)
		set.y = append(set.y, number(t, fields[0]))
		row := []float64{}
		for _, f := range fields[1:] {
			row = append(row, number(t, f))
		}
		set.x = append(set.x, row)
	}
	require.NotEmpty(t, set.certified, name)
	return set
}

func number(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}
